"""One row of a sweep: a point's number and values, what its ride measured, or why it can't be ridden."""

import pickle
from functools import lru_cache

import host_sim.compiled.travel  # noqa: F401  It makes settings picklable.
from host_sim.bikes.model import Bike
from host_sim.errors import ControllerFailed, RequestError
from host_sim.rules.case import Build
from host_sim.sweeping.metrics import MEASURES, ride_metrics
from host_sim.sweeping.points import Points, with_values
from host_sim.sweeping.points_beside import beside, own_value
from host_sim.sweeping.rule_columns import RIDES, judged, rule_columns


class Sweep:
    """What is swept: `bike`, `points`, and how each is ridden. It is sent to the workers.

    Rides are numbered: first the `points`, then the extra rides (`points_beside`), `count` in all.
    """

    def __init__(
        self,
        bike: Bike,
        points: Points,
        seconds: float,
        seed: int,
        build: Build | None = None,
        rules: tuple[str, ...] = (),
        rides: int = RIDES,
    ) -> None:
        """Store a checked request; all points have the same seed, so noise makes no difference.

        `build` makes the controller, None the firmware's own. Each point is checked against `rules` of
        `verify` with `rides` rides of each kind.
        """
        self.bike = bike
        self.points = points
        self.seconds = seconds
        self.seed = seed
        self.build = build
        self.rules = rules
        self.rides = rides
        self.beside = beside(bike, points, seed)
        self.count = points.count + len(self.beside)

    @property
    def measured(self) -> list[str]:
        """The columns that rides fill."""
        return [*MEASURES, *rule_columns(self.rules)]

    def columns(self) -> list[str]:
        """Return the names of the columns."""
        return ["number", *(axis.key.name for axis in self.points.axes), *self.measured, "reason"]

    def row(self, number: int) -> str:
        """Run ride `number`, 0 to count - 1; return its row of the table with full precision."""
        seed, shift, repeats = self.seed, 0.0, False
        if number < self.points.count:
            changed = values = self.points.values(number)
        else:
            one = self.beside[number - self.points.count]
            seed, shift, repeats, changed = one.seed, one.shift, one.repeats, one.values
            values = {axis.key.name: own_value(self.bike, axis.key.name) for axis in self.points.axes}
            values.update(changed)
        cells = [str(number), *(_cell(value) for value in values.values())]
        try:
            bike = with_values(self.bike, changed) if changed else self.bike
            found = ride_metrics(bike, self.seconds, seed, self.build, shift)
            found.update(judged(bike, () if repeats else self.rules, self.rides, self.seed, self.build))
        except ControllerFailed:
            raise
        except (RequestError, ValueError) as refusal:
            return ",".join([*cells, *("" for _ in self.measured), _quoted(str(refusal))]) + "\n"
        return ",".join([*cells, *(_cell(found.get(name)) for name in self.measured), ""]) + "\n"


def rows_of(sweep: bytes, numbers: list[int]) -> list[str]:
    """Ride some numbers of a pickled sweep; return their lines of the table."""
    return [_unpacked(sweep).row(number) for number in numbers]


@lru_cache(maxsize=1)
def _unpacked(sweep: bytes) -> Sweep:
    unpacked: Sweep = pickle.loads(sweep)
    return unpacked


def _cell(value: float | None) -> str:
    if value is None:
        return ""
    return str(int(value)) if value == int(value) and abs(value) < 1e15 else repr(value)


def _quoted(text: str) -> str:
    return '"' + " ".join(text.split()).replace('"', '""') + '"'
