"""What seeds 1 to 5 recommend for every bicycle of the grid, and how far apart that is."""

from collections.abc import Collection, Iterator
from dataclasses import dataclass

from host_sim.bikes.model import Bike
from host_sim.compiled.workers import Workers
from host_sim.tuning.recommend import tune_bike
from host_sim.tuning.score import PRIORITIES
from tests.tuning.within import bikes

SEEDS = (1, 2, 3, 4, 5)
# The step in which a setting can be chosen: of less than ten of them a tenth is less than one.
ONE_STEP = {"engage_edges": 1, "engage_rpm": 1, "release_rpm": 1, "stop_pitch_percent": 10}


@dataclass(frozen=True, slots=True)
class Spreads:
    """One bicycle: by setting, what each seed recommends."""

    name: str
    values: dict[str, list[int]]

    def wide(self) -> dict[str, list[int]]:
        """Return the settings whose values differ by a tenth of their middle and by more than a step."""
        return {
            name: values
            for name, values in self.values.items()
            if (apart := max(values) - min(values)) > ONE_STEP.get(name, 0)
            and 20 * apart >= max(values) + min(values)
        }


def spreads(named: tuple[str, Bike]) -> Spreads:
    """Tune one bicycle with every seed."""
    name, bike = named
    each = [tune_bike(bike, PRIORITIES["balanced"], _no_count, seed).changes for seed in SEEDS]
    return Spreads(name, {setting: [changes[setting] for changes in each] for setting in each[0]})


def spreads_all(names: Collection[str] = ()) -> Iterator[Spreads]:
    """Yield all of them, or the named ones, ridden compiled."""
    some = [(name, bike) for name, bike in bikes() if not names or name in names]
    with Workers(1) as workers:
        yield from workers.map(spreads, some, 1)


def _no_count(finished: int, count: int) -> None:
    """No progress is shown."""
