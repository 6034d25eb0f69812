"""One ride of a sweep: a standard course that makes every measure measurable, and its numbers.

The course, for S seconds: at rest until the controls have been seen at rest, a start up a gentle slope,
steady riding, a steeper slope half-way, and a stop 6 s before the end.
"""

from host_sim.bench.assemble import bench_for
from host_sim.bench.course import Course
from host_sim.bench.ride_measures import NOT_SEEN, RideMeasures
from host_sim.bench.script import CourseScript
from host_sim.bench.stretch import Stretch
from host_sim.bikes.model import Bike
from host_sim.rules.case import Build
from host_sim.rules.catalogue import rule_named
from host_sim.rules.riding import rest

SECONDS_LEAST, SECONDS_MOST, SECONDS = 30.0, 3600.0, 60.0
STOP_BEFORE_END_S = 6.0
SLOPE, STEEPER = 0.02, 0.04
EFFORT_W = 100.0  # What a healthy adult keeps up with ease (princeton.edu/~maelabs/hpt).
CADENCE_RPM = 60.0
US_PER_S = 1_000_000

MEASURES: dict[str, str] = {
    "engage_s": "s from the first movement of the crank to the first help",
    "first_help_deg": "degrees that the crank turns before the command is beyond the dead band",
    "jerk_m_per_s3": "m/s³, the steepest rise of the motor's push over 0.1 s",
    "overshoot_percent": "percent of power above what is allowed, the most",
    "settling_s": "s until the power stays within a tenth of what is allowed",
    "surge_percent": "percent swing of the power in the 4 s before the stop",
    "mean_power_w": "W, the highest mean of battery power over 10 s",
    "stop_time_s": "s from the crank's stop to a command of zero",
    "run_on_s": "s of help after the crank's stop, the longest",
    "cutoff_distance_m": "m covered with help after the crank's stop, the longest",
    "assist_wh": "Wh from the battery",
    "rider_wh": "Wh from the rider",
    "distance_m": "m ridden",
    "engagements": "times that the pedals engaged the motor",
}
"""Columns of one ride, with what they mean."""

MARGINS: dict[str, tuple[str, str]] = {
    "margin_cutoff_distance_m": ("cut-off distance", "cutoff_distance_m"),
    "margin_first_help_deg": ("first help", "first_help_deg"),
    "margin_overshoot_percent": ("power overshoot", "overshoot_percent"),
    "margin_settling_s": ("power settling", "settling_s"),
    "margin_surge_percent": ("surge", "surge_percent"),
    "margin_mean_power_w": ("continuous power", "mean_power_w"),
}
"""Column of a margin: the rule and the measure it is about. Limit less measure: below 0 the rule fails."""

HIDDEN = ("overshoot_percent", "settling_s", "surge_percent", "engagements")
"""Measures that need states or watts, which a controller that is not ours doesn't show."""

COLUMNS: tuple[str, ...] = (*MEASURES, *MARGINS)
Metrics = dict[str, float | None]


def standard_course(bike: Bike, seconds: float) -> Course:
    """Return the course of a sweep for this bike; its stop comes STOP_BEFORE_END_S before `seconds`."""
    start_s = rest(bike)
    stop_s = seconds - STOP_BEFORE_END_S
    standing = Stretch()
    standing.grade = SLOPE
    standing.effort_w = EFFORT_W
    riding = _then(standing, start_s)
    # A third above the engage cadence: pedalling for sure.
    riding.cadence_rpm = max(CADENCE_RPM, 1.33 * bike.firmware_settings.engage_rpm)
    steeper = _then(riding, start_s + 0.5 * (stop_s - start_s))
    steeper.grade = STEEPER
    stopped = _then(steeper, stop_s)
    stopped.cadence_rpm = 0.0
    return Course("sweep", "Start, steady, steeper, stop", seconds, [standing, riding, steeper, stopped])


def _then(before: Stretch, at_s: float) -> Stretch:
    after = before.copy()
    after.at_s = at_s
    return after


def ride_metrics(bike: Bike, seconds: float = SECONDS, seed: int = 1, build: Build | None = None) -> Metrics:
    """Ride the standard course once; return every column of COLUMNS, None where it has no value.

    `seconds` from SECONDS_LEAST to SECONDS_MOST; `seed` decides all noise, 0 or more. `build`
    makes the controller, None the firmware's own; what another one doesn't show has no value.
    """
    course = standard_course(bike, seconds)
    stop_us = round((seconds - STOP_BEFORE_END_S) * US_PER_S)
    measures = RideMeasures(bike.bicycle.mass_kg, stop_us)
    bench = bench_for(bike, seed, build=build)
    bench.watch(measures)
    bench.ride(CourseScript(course), seconds)
    meter = bench.meter
    helped = meter.first_assist_s is not None
    metrics: Metrics = {
        "engage_s": _seen(measures.engage_s),
        "first_help_deg": _seen(measures.first_help_deg),
        "jerk_m_per_s3": measures.jerk_m_per_s3 if helped else None,
        "overshoot_percent": 100.0 * measures.overshoot_share if helped else None,
        "settling_s": _seen(measures.settling_s),
        "surge_percent": 100.0 * measures.surge_share if measures.surge_share != NOT_SEEN else None,
        "mean_power_w": measures.mean_power_w,
        "stop_time_s": _seen(measures.stop_time_s),
        "run_on_s": meter.longest_run_on_s if helped else None,
        "cutoff_distance_m": meter.longest_cutoff_distance_m if helped else None,
        "assist_wh": bench.world.assist_j / 3600.0,
        "rider_wh": bench.world.rider_j / 3600.0,
        "distance_m": bench.world.bicycle.distance_m,
        "engagements": float(meter.engagements),
    }
    if build is not None and not build.shows_all:
        metrics.update(dict.fromkeys(HIDDEN))
    for column, (rule, measure) in MARGINS.items():
        limit, measured = rule_named(rule).limit(bike), metrics[measure]
        if column == "margin_first_help_deg" and bike.firmware_settings.engage_speed_mm_per_s > 0:
            limit = None  # The rule is about a wheel that is fast enough from the start.
        metrics[column] = None if limit is None or measured is None else limit - measured
    return metrics


def _seen(value: float) -> float | None:
    return None if value == NOT_SEEN else value
