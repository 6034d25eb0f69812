"""A course: a scripted ride in a small TOML file of our own, read into stretches with every field resolved.

    title = "Two traffic lights"
    seconds = 60

    [[stretch]]
    at_s = 0
    cadence_rpm = 65        # the rider holds this cadence; negative turns the pedals backward
    effort_w = 110          # and gives this power while at it

    [[stretch]]
    at_s = 20
    over_s = 5              # what this stretch names changes evenly during 5 s
    grade_percent = 4

A stretch keeps what it does not name. A stretch that names `effort_w` without `cadence_rpm` lets the cadence
come as it may; one that names `cadence_rpm` holds it again. `selector_percent` and `selector_position`
exclude each other. All keys are in `StretchTable`.
"""

from bisect import bisect_right
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any, Literal

from pydantic import Field

from host_sim.bench.faults import FAULTS, FaultSpec
from host_sim.errors import RequestError
from host_sim.textfile import find_file, names_in, spoken
from host_sim.tomlfile import Table, closest, load, shown, within

COURSES = Path(__file__).resolve().parent.parent / "courses"
SECONDS_MAX = 86_400
KnownFaults = Mapping[str, Sequence[str]]
EFFORT_AT_FIRST_W = 100.0  # What a healthy adult keeps up with ease (princeton.edu/~maelabs/hpt).
# Gears are shifted for this cadence while no cadence is held: the least tiring one is 57 rpm at 100 W and 70
# at 200 W (MacIntosh, Neptune and Horton, Med. Sci. Sports Exerc. 2000, 32:1281).
SHIFTING_RPM = 65.0


class FaultTable(Table):
    """One fault that holds during a stretch; the bench's FAULTS tell which other keys it needs."""

    name: str = Field(min_length=1, max_length=60)
    channel: Literal["A", "B"] | None = None
    magnet: int | None = Field(default=None, ge=1, le=64)
    strength: float | None = Field(default=None, ge=0, le=1)
    per_s: float | None = Field(default=None, ge=0, le=5000)
    stall_ms: int | None = Field(default=None, ge=1, le=60_000)

    def keys(self) -> dict[str, Any]:
        """Return the keys that are named beside the name."""
        return self.model_dump(exclude={"name"}, exclude_none=True)

    def as_spec(self) -> FaultSpec:
        """Return the fault in the bench's own form."""
        return FaultSpec(self.name, **self.keys())


class StretchTable(Table):
    """One [[stretch]] as it stands in the file; None is what it does not name."""

    at_s: float = within(0, SECONDS_MAX)
    over_s: float = within(0, SECONDS_MAX, default=0)
    cadence_rpm: float | None = Field(default=None, ge=-150, le=200)
    effort_w: float | None = Field(default=None, ge=0, le=2000)
    gear_m: float | None = Field(default=None, ge=0, le=12)
    grade_percent: float | None = Field(default=None, ge=-25, le=25)
    wind_m_per_s: float | None = Field(default=None, ge=-30, le=30)
    throttle_percent: float | None = Field(default=None, ge=0, le=100)
    selector_percent: float | None = Field(default=None, ge=0, le=100)
    selector_position: int | None = Field(default=None, ge=1, le=6)
    crank_free: bool | None = None
    brake: bool | None = None
    power_switch: bool | None = None
    fault: list[FaultTable] | None = Field(default=None, max_length=16)


class CourseTable(Table):
    """A course file as it stands."""

    title: str = Field(min_length=1, max_length=100)
    seconds: float = within(1, SECONDS_MAX)
    stretch: list[StretchTable] = Field(min_length=1, max_length=10_000)


class Stretch:
    """What holds from `at_s` on, or is reached `over_s` later. Read only.

    While `cadence_held`, the rider turns `cadence_rpm` (negative: backward) with `effort_w`; else `effort_w`
    alone counts, and `cadence_rpm` is what the gears are shifted for. `crank_free`: the crank turns as told
    and drives nothing, as on a work stand without chain. `gear_m` is the development, 0 = automatic. `grade`
    is rise over run, head wind is positive, `throttle_share` and `selector_share` run from 0 to 1 of the
    lever's travel; `selector_position` (from 1) is None while `selector_share` counts.
    """

    __slots__ = (
        "at_s",
        "brake_pulled",
        "cadence_held",
        "cadence_rpm",
        "crank_free",
        "effort_w",
        "faults",
        "gear_m",
        "grade",
        "over_s",
        "power_switched_on",
        "selector_position",
        "selector_share",
        "throttle_share",
        "wind_m_per_s",
    )

    def __init__(self) -> None:
        """Stand on a level road, power on, levers at rest, selector full."""
        self.at_s = 0.0
        self.over_s = 0.0
        self.cadence_rpm = 0.0
        self.effort_w = EFFORT_AT_FIRST_W
        self.cadence_held = True
        self.crank_free = False
        self.gear_m = 0.0
        self.grade = 0.0
        self.wind_m_per_s = 0.0
        self.throttle_share = 0.0
        self.selector_share = 1.0
        self.selector_position: int | None = None
        self.brake_pulled = False
        self.power_switched_on = True
        self.faults: tuple[FaultTable, ...] = ()

    def copy(self) -> "Stretch":
        """Return an equal stretch."""
        other = Stretch()
        for name in self.__slots__:
            setattr(other, name, getattr(self, name))
        return other


class Course:
    """A title, a length and stretches in ascending order of `at_s`, the first at 0."""

    __slots__ = ("_starts_s", "name", "seconds", "stretches", "title")

    def __init__(self, name: str, title: str, seconds: float, stretches: list[Stretch]) -> None:
        """Take resolved stretches, as `load_course` makes them."""
        self.name = name
        self.title = title
        self.seconds = seconds
        self.stretches = stretches
        self._starts_s = [stretch.at_s for stretch in stretches]

    def at(self, time_s: float) -> Stretch:
        """Return what holds at `time_s`: the stretch itself, or during its `over_s` a stretch in between."""
        index = max(bisect_right(self._starts_s, time_s) - 1, 0)
        stretch = self.stretches[index]
        since_s = time_s - stretch.at_s
        if index == 0 or since_s >= stretch.over_s:
            return stretch
        return _between(self.stretches[index - 1], stretch, since_s / stretch.over_s)


def _between(earlier: Stretch, later: Stretch, share: float) -> Stretch:
    """Return `later` with its gradual values only `share` (0 to 1) of the way from `earlier`."""
    mixed = later.copy()
    for name in ("cadence_rpm", "effort_w", "grade", "wind_m_per_s", "throttle_share", "selector_share"):
        start = getattr(earlier, name)
        setattr(mixed, name, start + (getattr(later, name) - start) * share)
    return mixed


def course_names() -> list[str]:
    """Return the names of the courses that come with the package."""
    return names_in(COURSES, (".toml",))


def load_course(path_or_name: str | Path, known_faults: KnownFaults | None = None) -> Course:
    """Return a course file, or one of our own by its name; whatever is wrong raises RequestError.

    `known_faults` has the names that a course may use, each with the keys it needs: the bench's unless given.
    """
    if known_faults is None:
        known_faults = {name: keys for name, (keys, _) in FAULTS.items()}
    path = find_file(path_or_name, COURSES, (".toml",), "course")
    table = load(path, CourseTable)
    try:
        return _resolve(path.stem, table, known_faults)
    except ValueError as error:
        raise RequestError(f"{spoken(path.name)}: {error}") from None


def _resolve(name: str, table: CourseTable, known_faults: KnownFaults) -> Course:
    """Carry each value on until it is named again; ValueError tells what does not fit together."""
    stretches: list[Stretch] = []
    latest = Stretch()
    free_s = 0.0
    for number, entry in enumerate(table.stretch, start=1):
        _check_times(table, number, entry, stretches, free_s)
        _check_faults(number, entry, known_faults)
        latest = latest.copy()
        _apply(latest, entry, number)
        stretches.append(latest)
        free_s = entry.at_s + entry.over_s
    return Course(name, table.title, table.seconds, stretches)


def _check_times(
    table: CourseTable, number: int, entry: StretchTable, stretches: list[Stretch], free_s: float
) -> None:
    key = f"stretch {number}.at_s"
    if not stretches and entry.at_s != 0:
        raise ValueError(f"{key} is {entry.at_s:g}, allowed is 0 (s): a ride begins with its first stretch")
    if stretches and entry.at_s <= stretches[-1].at_s:
        raise ValueError(
            f"{key} is {entry.at_s:g}, allowed is above {stretches[-1].at_s:g} (s), the one before"
        )
    if entry.at_s < free_s:
        raise ValueError(
            f"{key} is {entry.at_s:g}, allowed is {free_s:g} or more (s), when the one before is done"
        )
    if entry.at_s + entry.over_s > table.seconds:
        over = f" with over_s {entry.over_s:g}" if entry.over_s else ""
        raise ValueError(
            f"{key} is {entry.at_s:g}{over}, allowed is up to {table.seconds:g} (s), the end of the ride"
        )
    if number == 1 and entry.over_s:
        raise ValueError(
            f"stretch 1.over_s is {entry.over_s:g}, allowed is 0 (s): there is nothing to change from"
        )


def _check_faults(number: int, entry: StretchTable, known_faults: KnownFaults) -> None:
    for index, fault in enumerate(entry.fault or [], start=1):
        where = f"stretch {number}.fault {index}"
        if fault.name not in known_faults:
            hint = closest(fault.name, list(known_faults))
            raise ValueError(f"{where}.name is {shown(fault.name)}, {hint}")
        needed = known_faults[fault.name]
        if sorted(fault.keys()) != sorted(needed):
            named = ", ".join(fault.keys()) or "no other key"
            wanted = ", ".join(needed) or "no other key"
            raise ValueError(f'{where} is "{fault.name}" with {named}, allowed is {wanted}')


def _apply(stretch: Stretch, entry: StretchTable, number: int) -> None:
    """Put into `stretch` what `entry` names; the rest stays."""
    if entry.selector_percent is not None and entry.selector_position is not None:
        raise ValueError(
            f"stretch {number} names selector_percent and selector_position, allowed is one of them"
        )
    stretch.at_s = entry.at_s
    stretch.over_s = entry.over_s
    if entry.cadence_rpm is not None:
        stretch.cadence_rpm = entry.cadence_rpm
        stretch.cadence_held = True
    elif entry.effort_w is not None:
        stretch.cadence_rpm = stretch.cadence_rpm if stretch.cadence_rpm > 0.0 else SHIFTING_RPM
        stretch.cadence_held = False
    if entry.selector_percent is not None:
        stretch.selector_position = None
    plain: dict[str, Any] = {
        "effort_w": entry.effort_w,
        "gear_m": entry.gear_m,
        "grade": _share(entry.grade_percent),
        "wind_m_per_s": entry.wind_m_per_s,
        "throttle_share": _share(entry.throttle_percent),
        "selector_share": _share(entry.selector_percent),
        "selector_position": entry.selector_position,
        "crank_free": entry.crank_free,
        "brake_pulled": entry.brake,
        "power_switched_on": entry.power_switch,
        "faults": None if entry.fault is None else tuple(entry.fault),
    }
    for name, value in plain.items():
        if value is not None:
            setattr(stretch, name, value)


def _share(percent: float | None) -> float | None:
    return None if percent is None else percent / 100.0
