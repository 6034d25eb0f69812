"""What help costs on the road: battery energy and time for a kilometre of the same way, with all-day legs.

Two rides on the whole bench, on the level and up a gentle grade, each from standing. The way has two level
kilometres for one of the grade; what a kilometre takes is computed from both rides.
"""

from dataclasses import dataclass

from host_sim.bench.assemble import bench_for
from host_sim.bench.course import Course, course_from
from host_sim.bench.script import CourseScript
from host_sim.bikes.model import Bike
from host_sim.rules.case import Lines
from host_sim.tuning.operating import LEGS_W
from host_sim.tuning.ride_start import rest_s
from host_sim.tuning.variant import with_settings
from host_sim.units import S_PER_HOUR

GRADES_PERCENT = (0.0, 3.0)
SHARES_OF_WAY = (2.0 / 3.0, 1.0 / 3.0)
RIDE_S = 60.0
CADENCE_RPM = 65.0
# Two thirds of the energy is half as far again on a battery; judgement of this project.
ENERGY_SHARE, ENERGY_SPAN = 2.0 / 3.0, 0.05
ASSIST_SHARES = tuple(0.05 * number for number in range(6, 21))  # Of the assist power that the parts allow.
_USABLE = 0.9  # Nobody empties the pack to the last (common practice, no source).


@dataclass(frozen=True, slots=True)
class RoadMeasures:
    """A kilometre of the way takes `wh_per_km` from the battery and `min_per_km` minutes."""

    wh_per_km: float
    min_per_km: float

    def range_km(self, bike: Bike) -> float | None:
        """Return how far a full pack goes with help; None where help takes nothing."""
        battery = bike.battery
        usable_wh = _USABLE * battery.capacity_ah * 0.5 * (battery.full_v + battery.empty_v)
        return usable_wh / self.wh_per_km if self.wh_per_km > 0.0 else None


def road_course(bike: Bike, grade_percent: float) -> Course:
    """Return the ride on one grade; no setting of `bike` influences it."""
    begin_s = rest_s(bike)
    lines: Lines = [
        {"at_s": 0, "cadence_rpm": 0, "grade_percent": grade_percent},
        {"at_s": begin_s, "cadence_rpm": CADENCE_RPM, "effort_w": LEGS_W},
    ]
    return course_from("road", "A minute with all-day legs", begin_s + RIDE_S, lines)


def measure_road(bike: Bike, seed: int = 1) -> RoadMeasures:
    """Ride both grades; a ride of less than a metre counts as one metre."""
    wh_per_km = min_per_km = 0.0
    for grade_percent, share in zip(GRADES_PERCENT, SHARES_OF_WAY, strict=True):
        bench = bench_for(bike, seed)
        course = road_course(bike, grade_percent)
        bench.ride(CourseScript(course), course.seconds)
        way_km = max(bench.world.bicycle.distance_m / 1000.0, 1e-3)
        wh_per_km += share * bench.world.assist_j / S_PER_HOUR / way_km
        min_per_km += share * RIDE_S / 60.0 / way_km
    return RoadMeasures(wh_per_km, min_per_km)


@dataclass(frozen=True, slots=True)
class RoadPoint:
    """One assist power, what it takes on the road, and its score; the least is best."""

    assist_power_w: int
    measures: RoadMeasures
    score: float


@dataclass(frozen=True, slots=True)
class RoadChoice:
    """The chosen point; `full`, all the help that parts and place allow; everything that was ridden."""

    chosen: RoadPoint
    full: RoadPoint
    tried: list[RoadPoint]


def choose_assist(bike: Bike, full_w: int, fixed_w: int | None, seed: int = 1) -> RoadChoice:
    """Return the assist power up to `full_w` with the least road score; `fixed_w` if that is to stay."""
    most_w = min(full_w, bike.firmware_settings.power_limit_w)
    watts = {round(share * most_w) for share in ASSIST_SHARES} | {most_w if fixed_w is None else fixed_w}
    bikes = {one: with_settings(bike, {"assist_power_w": one}) for one in sorted(watts)}
    ridden = {one: measure_road(some, seed) for one, some in bikes.items()}
    points = {one: RoadPoint(one, ridden[one], road_score(ridden[one], ridden[most_w])) for one in ridden}
    best = min(points.values(), key=lambda one: one.score)
    return RoadChoice(best if fixed_w is None else points[fixed_w], points[most_w], list(points.values()))


def road_score(measures: RoadMeasures, full: RoadMeasures) -> float:
    """Return the minutes over those of full help, and 1 for each twentieth of energy above two thirds."""
    beyond = max(measures.wh_per_km / full.wh_per_km - ENERGY_SHARE, 0.0) if full.wh_per_km > 0.0 else 0.0
    return measures.min_per_km / full.min_per_km + beyond / ENERGY_SPAN
