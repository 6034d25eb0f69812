"""The points of a sweep: which keys vary, over which ranges, and the bike with the numbers of one point.

A key is named `section.key` as in the bike file, or by its last part if only one section has it.
"""

from dataclasses import dataclass
from functools import cache
from itertools import pairwise
from random import Random

from annotated_types import Ge, Le

from firmware.settings import TABLE
from host_sim.bikes.fit import check_fit
from host_sim.bikes.model import Bike
from host_sim.bikes.settings_of import settings_from
from host_sim.errors import RequestError
from host_sim.refusals import closest
from host_sim.tomlfile import Table

POINTS_MOST = 1_000_000
STEPS_MOST = 100_000


@dataclass(frozen=True, slots=True)
class Key:
    """A number of a bike file: its full `name`, its legal range, and whether it is `whole`."""

    name: str
    lowest: float
    highest: float
    whole: bool


@cache
def known_keys() -> dict[str, Key]:
    """Return every number of a bike file by its full name, settings last."""
    keys: dict[str, Key] = {}
    for section, field in Bike.model_fields.items():
        table = field.annotation
        if isinstance(table, type) and issubclass(table, Table):
            for name, entry in table.model_fields.items():
                lows = [one.ge for one in entry.metadata if isinstance(one, Ge)]
                highs = [one.le for one in entry.metadata if isinstance(one, Le)]
                if entry.annotation in (int, float) and lows and highs:
                    low, high = float(str(lows[0])), float(str(highs[0]))
                    keys[f"{section}.{name}"] = Key(f"{section}.{name}", low, high, entry.annotation is int)
    for name, _, lowest, highest, _ in TABLE:
        keys[f"settings.{name}"] = Key(f"settings.{name}", lowest, highest, True)
    return keys


def find_key(name: str) -> Key:
    """Return the key with this full or last name; RequestError lists the candidates."""
    keys = known_keys()
    if name in keys:
        return keys[name]
    meant = [full for full in keys if full.split(".")[1] == name]
    if len(meant) == 1:
        return keys[meant[0]]
    if meant:
        told = " or ".join(meant)
        raise RequestError(f"--vary {name[:60]} could be {told}, allowed is one of them in full")
    names = [*keys, *(full.split(".")[1] for full in keys)]
    near = closest(name, names)
    hint = near if near.startswith("did") else "allowed is a number of the bike file or a setting by its name"
    raise RequestError(f"--vary {name[:60]!r} is not a number of a bike file, {hint.removeprefix(', ')}")


@dataclass(frozen=True, slots=True)
class Axis:
    """One key and where it goes: from `low` to `high`, in `steps` equal steps on a grid."""

    key: Key
    low: float
    high: float
    steps: int

    def at(self, step: int) -> float:
        """Return the value at a step of the grid, from 0."""
        share = step / (self.steps - 1) if self.steps > 1 else 0.0
        return self._rounded(self.low + (self.high - self.low) * share)

    def drawn(self, draw: Random) -> float:
        """Return a random value between the ends."""
        if self.key.whole:
            return float(draw.randint(round(self.low), round(self.high)))
        return draw.uniform(self.low, self.high)

    def _rounded(self, value: float) -> float:
        return float(round(value)) if self.key.whole else value


def read_axis(text: str, on_grid: bool) -> Axis:
    """Read KEY=LOW:HIGH:N; for random points N may be left out. RequestError says what is wrong."""
    name, equals, numbers = text.partition("=")
    parts = numbers.split(":")
    if not equals or len(parts) not in ((3,) if on_grid else (2, 3)):
        form = "KEY=LOW:HIGH:N" if on_grid else "KEY=LOW:HIGH"
        raise RequestError(f"--vary is {text[:60]!r}, allowed is {form}, as in rise_mv_per_s=200:8000:40")
    key = find_key(name.strip())
    low, high = (_bound(key, part) for part in parts[:2])
    if high < low:
        raise RequestError(f"--vary {key.name} goes from {low:g} to {high:g}, allowed is LOW up to HIGH")
    steps = _steps(key, parts[2]) if len(parts) == 3 else 2
    axis = Axis(key, low, high, steps)
    if on_grid and steps > 1 and any(one == two for one, two in pairwise(map(axis.at, range(steps)))):
        most = round(high) - round(low) + 1 if key.whole else 1
        raise RequestError(f"--vary {key.name} has {steps} steps, allowed is up to {most} between these ends")
    return axis


def _bound(key: Key, text: str) -> float:
    allowed = f"{'a whole number, ' if key.whole else ''}{key.lowest:g} to {key.highest:g}"
    try:
        value = float(text)
    except ValueError:
        raise RequestError(f"--vary {key.name} has {text[:40]!r}, allowed is {allowed}") from None
    if not key.lowest <= value <= key.highest or (key.whole and value != int(value)):
        raise RequestError(f"--vary {key.name} has {text[:40]}, allowed is {allowed}")
    return value


def _steps(key: Key, text: str) -> int:
    try:
        steps = int(text)
    except ValueError:
        steps = 0
    if not 1 <= steps <= STEPS_MOST:
        allowed = f"a whole number from 1 to {STEPS_MOST}"
        raise RequestError(f"--vary {key.name} has N {text[:40]!r}, allowed is {allowed}")
    return steps


class Points:
    """All points of a sweep by their number: a grid, its last key fastest, or `random` many draws."""

    def __init__(self, axes: list[Axis], random: int | None, seed: int) -> None:
        """Count the points; RequestError if they are too many, or a key comes twice."""
        self.axes = axes
        self.random = random
        self._seed = seed
        names = [axis.key.name for axis in axes]
        if not names:
            raise RequestError("--vary is missing, allowed is --vary KEY=LOW:HIGH:N, once or more")
        for name in names:
            if names.count(name) > 1:
                raise RequestError(f"--vary {name} is given twice, allowed is once")
        self.count = 1
        for axis in axes:
            self.count *= axis.steps
        if random is not None:
            self.count = random
        if self.count > POINTS_MOST:
            raise RequestError(f"the sweep has {self.count} points, allowed is up to {POINTS_MOST}")

    def values(self, number: int) -> dict[str, float]:
        """Return the values of point `number`, 0 to count - 1, by full key name."""
        if self.random is not None:
            draw = Random(f"{self._seed} {number}")
            return {axis.key.name: axis.drawn(draw) for axis in self.axes}
        values: dict[str, float] = {}
        for axis in reversed(self.axes):
            number, step = divmod(number, axis.steps)
            values[axis.key.name] = axis.at(step)
        return {axis.key.name: values[axis.key.name] for axis in self.axes}


def with_values(bike: Bike, values: dict[str, float]) -> Bike:
    """Return the bike with other numbers, by full key name, and the settings that follow from them.

    Each value must lie in the range of its key; RequestError says which two contradict each other.
    """
    keys = known_keys()
    changes: dict[str, dict[str, float]] = {}
    for name, value in values.items():
        section, last = name.split(".")
        changes.setdefault(section, {})[last] = round(value) if keys[name].whole else float(value)
    settings = {name: round(value) for name, value in changes.pop("settings", {}).items()}
    parts = {name: getattr(bike, name).model_copy(update=new) for name, new in changes.items()}
    if settings:
        parts["settings"] = {**bike.settings, **settings}
    changed = bike.model_copy(update=parts)
    try:
        check_fit(changed, bike.place_profile)
        changed.complete(bike.name, bike.place_profile, settings_from(changed, bike.place_profile))
    except ValueError as error:
        raise RequestError(str(error)) from None
    return changed
