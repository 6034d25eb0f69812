"""Measures and scores one set of settings: before, after, and for any sweep."""

from dataclasses import dataclass

from host_sim.bikes.model import Bike
from host_sim.tuning.drive_rides import DriveMeasures, measure_drive
from host_sim.tuning.engage_rides import EngageMeasures, EngageRide
from host_sim.tuning.release_rides import ReleaseMeasures, ReleaseRides
from host_sim.tuning.road_rides import RoadMeasures, measure_road, road_score
from host_sim.tuning.score import Priority, drive_score, engage_score, release_score
from host_sim.tuning.stop_rides import StopMeasures, measure_stops


@dataclass(frozen=True, slots=True)
class Scores:
    """The parts of the score; lower is better. `road` is 0 for priorities that choose no assist power."""

    engage: float
    release: float
    drive: float
    road: float = 0.0

    @property
    def total(self) -> float:
        """Their sum."""
        return self.engage + self.release + self.drive + self.road


@dataclass(frozen=True, slots=True)
class Measures:
    """The measures of one set of settings on the bench."""

    engage: EngageMeasures
    release: ReleaseMeasures
    drive: DriveMeasures
    stops: StopMeasures
    road: RoadMeasures
    scores: Scores


def measure(
    bike: Bike,
    rides: ReleaseRides,
    other_engage_rpm: int,
    sensitivity: float,
    priority: Priority,
    seed: int = 1,
    full: RoadMeasures | None = None,
) -> Measures:
    """Ride everything with the settings of `bike`, on rides that don't depend on any setting.

    `rides` are the same for all that is compared; `other_engage_rpm` is the engage cadence of what these
    settings are compared with. `sensitivity` is the greatest Ms of the power loop, 1 without one. `full` is
    what full help takes on the road, for priorities that choose the assist power.
    """
    engage = EngageRide(bike, seed).as_ridden()
    release = rides.compared(bike.firmware_settings, other_engage_rpm)
    drive = measure_drive(bike, seed)
    road = measure_road(bike, seed)
    scores = Scores(
        engage_score(engage, priority),
        release_score(release),
        drive_score(drive, sensitivity, priority),
        0.0 if full is None else road_score(road, full),
    )
    return Measures(engage, release, drive, measure_stops(bike, seed), road, scores)
