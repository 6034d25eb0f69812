"""Measures and scores one set of settings: before, after, and for any sweep."""

from dataclasses import dataclass

from host_sim.bikes.model import Bike
from host_sim.tuning.drive_rides import DriveMeasures, measure_drive
from host_sim.tuning.engage_rides import EngageMeasures, EngageRide
from host_sim.tuning.release_rides import ReleaseMeasures, ReleaseRides
from host_sim.tuning.score import Priority, drive_score, engage_score, release_score
from host_sim.tuning.stop_rides import StopMeasures, measure_stops


@dataclass(frozen=True, slots=True)
class Scores:
    """The three parts of the score; lower is better."""

    engage: float
    release: float
    drive: float

    @property
    def total(self) -> float:
        """Their sum."""
        return self.engage + self.release + self.drive


@dataclass(frozen=True, slots=True)
class Measures:
    """The measures of one set of settings on the bench."""

    engage: EngageMeasures
    release: ReleaseMeasures
    drive: DriveMeasures
    stops: StopMeasures
    scores: Scores


def measure(
    bike: Bike,
    rides: ReleaseRides,
    other_engage_rpm: int,
    sensitivity: float,
    priority: Priority,
    seed: int = 1,
) -> Measures:
    """Ride everything with the settings of `bike`, on rides that don't depend on any setting.

    `rides` are the same for all settings compared; `other_engage_rpm` is the engage cadence of the settings
    compared with these. `sensitivity` is the greatest Ms of the power loop, 1 without one.
    """
    engage = EngageRide(bike, seed).as_ridden()
    release = rides.compared(bike.firmware_settings, other_engage_rpm)
    drive = measure_drive(bike, seed)
    scores = Scores(
        engage_score(engage, priority), release_score(release), drive_score(drive, sensitivity, priority)
    )
    return Measures(engage, release, drive, measure_stops(bike, seed), scores)
