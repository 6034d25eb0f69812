"""The measures of one ride of a sweep, and what they mean."""

from dataclasses import dataclass

from host_sim.bench.assemble import bench_for
from host_sim.bench.clock import US_PER_S
from host_sim.bench.ride_measures import NOT_SEEN, RideMeasures
from host_sim.bikes.model import Bike
from host_sim.rules.case import Build
from host_sim.sweeping.ride_script import SweepScript, first_stop_s
from host_sim.units import S_PER_HOUR

SECONDS_LEAST, SECONDS_MOST, SECONDS = 30.0, 3600.0, 60.0
LESS, MORE, NEITHER = -1, 1, 0


@dataclass(frozen=True, slots=True)
class Measure:
    """One column: a short name and a unit for figures, a sentence, and which direction is good.

    `good` is LESS, MORE or NEITHER. A measure that needs states or watts is `hidden`: other controllers don't
    show them.
    """

    title: str
    unit: str
    sentence: str
    good: int
    hidden: bool = False


MEASURES: dict[str, Measure] = {
    "engage_s": Measure("start to first help", "s", "from the first movement of the crank to help", LESS),
    "first_help_deg": Measure(
        "crank turned before help", "°", "turn of the crank until the command passes the dead band", LESS
    ),
    "jerk_m_per_s3": Measure("jerk", "m/s³", "steepest rise of the motor's push over 0.1 s, by mass", LESS),
    "overshoot_percent": Measure("power overshoot", "%", "highest power above its limit", LESS, True),
    "settling_s": Measure(
        "settling", "s", "until the power stays within a tenth of its limit, the step of the slope included",
        LESS, True,
    ),
    "surge_percent": Measure(
        "surge", "%", "swing of the power in the 4 s before the first stop", LESS, True
    ),
    "mean_power_w": Measure("mean power", "W", "highest mean of battery power over 10 s", NEITHER),
    "stop_time_s": Measure("stop time", "s", "crank's stop to a command of zero, mean of all stops", LESS),
    "run_on_s": Measure("run-on", "s", "help after the crank's stop, the longest of all stops", LESS),
    "cutoff_distance_m": Measure("cut-off distance", "m", "longest distance with help after a stop", LESS),
    "assist_wh": Measure("battery energy", "Wh", "energy from the battery", NEITHER),
    "rider_wh": Measure("rider's energy", "Wh", "energy from the rider", NEITHER),
    "distance_m": Measure("distance", "m", "distance ridden", MORE),
    "engagements": Measure("engagements", "times", "how often help began before the first stop", LESS, True),
}  # fmt: skip
"""The columns that every sweep has."""

Metrics = dict[str, float | None]


def ride_metrics(
    bike: Bike, seconds: float = SECONDS, seed: int = 1, build: Build | None = None, shift: float = 0.0
) -> Metrics:
    """Ride the course of a sweep once; return every measure, None where it has no value.

    `seconds` from SECONDS_LEAST to SECONDS_MOST; `seed` (0 or more) is the random seed of all noise, and
    `shift` changes what is random in the course (`ride_script`). `build` makes the controller, None the
    firmware's own; what another one doesn't show has no value.
    """
    measures = RideMeasures(bike.bicycle.mass_kg, round(first_stop_s(bike, seconds) * US_PER_S))
    bench = bench_for(bike, seed, build=build)
    bench.watch(measures)
    bench.ride(SweepScript(bike, seconds, shift), seconds)
    meter = bench.meter
    helped = meter.first_assist_s is not None
    # Without a shunt the power follows no request, and neither overshoots nor settles.
    measured = bike.shunt.fitted
    metrics: Metrics = {
        "engage_s": _seen(measures.engage_s),
        "first_help_deg": _seen(measures.first_help_deg),
        "jerk_m_per_s3": measures.jerk_m_per_s3 if helped else None,
        "overshoot_percent": 100.0 * measures.overshoot_share if helped and measured else None,
        "settling_s": _seen(measures.settling_s) if measured else None,
        "surge_percent": 100.0 * measures.surge_share if measures.surge_share != NOT_SEEN else None,
        "mean_power_w": measures.mean_power_w,
        "stop_time_s": _seen(measures.stop_time_s),
        "run_on_s": meter.longest_run_on_s if helped else None,
        "cutoff_distance_m": meter.longest_cutoff_distance_m if helped else None,
        "assist_wh": bench.world.assist_j / S_PER_HOUR,
        "rider_wh": bench.world.rider_j / S_PER_HOUR,
        "distance_m": bench.world.bicycle.distance_m,
        "engagements": float(measures.engagements),
    }
    if build is not None and not build.shows_all:
        metrics.update({name: None for name, measure in MEASURES.items() if measure.hidden})
    return metrics


def _seen(value: float) -> float | None:
    return None if value == NOT_SEEN else value
