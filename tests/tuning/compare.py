"""Recommendation against brute force: for one bicycle, and over a grid of bicycles."""

from collections.abc import Iterator
from dataclasses import dataclass

from host_sim.bikes.model import Bike
from host_sim.compiled.workers import Workers
from host_sim.tuning.drive import legal_gains, loop_model
from host_sim.tuning.drive_bench import DriveSettings
from host_sim.tuning.measures import Scores
from host_sim.tuning.recommend import Tuned, tune_bike
from host_sim.tuning.score import Priority
from host_sim.tuning.simc import simc
from tests.tuning.brute import FULL_GRID, Grid, Map, bike_grid, sweep_drive, sweep_engage, sweep_release


@dataclass(frozen=True, slots=True)
class Compared:
    """One bicycle: scores of the recommendation as ridden, and the best of the sweep, part by part."""

    name: str
    priority: str
    recommended: Scores
    swept: Scores

    @property
    def over_percent(self) -> float:
        """How far the recommendation lies above the best score that was found; negative if it is better."""
        return 100.0 * (self.recommended.total / self.swept.total - 1.0)


def compare(name: str, tuned: Tuned, grid: Grid, mapped: Map, seed: int = 1) -> Compared:
    """Sweep a bicycle that has been tuned, and return both; the release ride has the legs that tuning had."""
    bike, priority = tuned.bike, tuned.priority
    engage_rpm = tuned.changes["engage_rpm"]
    model = loop_model(tuned.plants)
    tight = DriveSettings(1, *(legal_gains(simc(model)) if model is not None else (1, 20)))
    swept = Scores(
        sweep_engage(bike, priority, grid, seed)[0],
        sweep_release(bike, engage_rpm, grid, seed)[0],
        sweep_drive(bike, tuned.plants, priority, tight, grid, mapped, seed)[0],
    )
    recommended = Scores(tuned.engage.chosen.score, tuned.release.chosen.score, tuned.drive.chosen.score)
    return Compared(name, priority.name, recommended, swept)


def compare_one(entry: tuple[str, Bike, Priority]) -> Compared:
    """Tune and compare one bicycle on the full grid of settings, in this process."""
    name, bike, priority = entry
    return compare(name, tune_bike(bike, priority, lambda stage, stages: None), FULL_GRID, map)


def compare_all(part: str = "") -> Iterator[Compared]:
    """Compare every bicycle of the grid whose name has `part` in it, ridden compiled."""
    entries = [entry for entry in bike_grid() if part in entry[0]]
    with Workers(1) as workers:
        yield from workers.map(compare_one, entries, 1)
