"""One row of a sweep: a point's number and values, what its ride measured, or why it can't be ridden."""

from host_sim.bikes.model import Bike
from host_sim.errors import ControllerFailed, RequestError
from host_sim.rules.case import Build
from host_sim.sweeping.metrics import COLUMNS, ride_metrics
from host_sim.sweeping.points import Points, with_values


class Sweep:
    """What is swept: `bike`, `points`, and how each is ridden. It travels to the workers."""

    def __init__(
        self, bike: Bike, points: Points, seconds: float, seed: int, build: Build | None = None
    ) -> None:
        """Take a checked request; all points have the same seed, so that noise is no difference.

        `build` makes the controller, None the firmware's own.
        """
        self.bike = bike
        self.points = points
        self.seconds = seconds
        self.seed = seed
        self.build = build

    def columns(self) -> list[str]:
        """Return the names of the columns."""
        return ["number", *(axis.key.name for axis in self.points.axes), *COLUMNS, "reason"]

    def row(self, number: int) -> str:
        """Ride point `number`; return its line of the table, every number to the last digit."""
        values = self.points.values(number)
        cells = [str(number), *(_cell(value) for value in values.values())]
        try:
            metrics = ride_metrics(with_values(self.bike, values), self.seconds, self.seed, self.build)
        except ControllerFailed:
            raise
        except (RequestError, ValueError) as refusal:
            return ",".join([*cells, *("" for _ in COLUMNS), _quoted(str(refusal))]) + "\n"
        return ",".join([*cells, *(_cell(metrics[name]) for name in COLUMNS), ""]) + "\n"


def _cell(value: float | None) -> str:
    if value is None:
        return ""
    return str(int(value)) if value == int(value) and abs(value) < 1e15 else repr(value)


def _quoted(text: str) -> str:
    return '"' + " ".join(text.split()).replace('"', '""') + '"'
