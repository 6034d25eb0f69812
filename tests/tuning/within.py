"""Every priority on every bicycle of the grid: what the rules refuse of the best, and what is left of it."""

from collections.abc import Iterator
from dataclasses import dataclass

from host_sim.bikes.load import load_bike
from host_sim.bikes.model import Bike
from host_sim.tuning.back_off import Within, tune_within_rules
from host_sim.tuning.score import PRIORITIES
from tests.tuning.brute import bike_grid


@dataclass(frozen=True, slots=True)
class Ended:
    """One bicycle and priority: its result."""

    name: str
    priority: str
    within: Within

    @property
    def cells(self) -> list[str]:
        """The columns of the table."""
        tuned, best = self.within.tuned, self.within.best
        held = [name for name, value in best.changes.items() if tuned.changes[name] != value]
        words = ", ".join(f"{name} {tuned.changes[name]} (best {best.changes[name]})" for name in held)
        scores = (tuned.before.scores.total, best.after.scores.total, tuned.after.scores.total)
        refused = len(self.within.check.refusals)
        return [
            self.name,
            self.priority,
            *(f"{score:.2f}" for score in scores),
            words or "nothing",
            str(refused),
        ]


HEADINGS = (
    "bicycle",
    "priority",
    "now",
    "best",
    "recommended",
    "held back for the rules",
    "refused in the end",
)


def bikes() -> list[tuple[str, Bike]]:
    """Return the bicycles of the brute force, and the one of the shipped four that is not among them."""
    return [("step-through", load_bike("step_through")), *((name, bike) for name, bike, _ in bike_grid())]


def ended(name: str, bike: Bike, priority: str, seed: int = 1) -> Ended:
    """Tune with everything that `treadle tune` rides."""
    return Ended(name, priority, tune_within_rules(bike, PRIORITIES[priority], _no_count, seed))


def ended_all(priorities: list[str]) -> Iterator[Ended]:
    """Yield all of them, a priority at a time."""
    for priority in priorities:
        for name, bike in bikes():
            yield ended(name, bike, priority)


def _no_count(finished: int, count: int) -> None:
    """No progress is shown."""
