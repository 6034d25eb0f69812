"""A first ride on the bench: a start, a stretch of road, a stop. It gives the numbers that a rider feels."""

from dataclasses import dataclass
from math import pi

from host_sim.bench.assemble import bench_for
from host_sim.bench.course import course_from
from host_sim.bench.script import CourseScript
from host_sim.bikes.model import Bike
from host_sim.report.samples import Samples

START_S = 1.5
STOP_S = 12.0
END_S = 15.0
CADENCE_RPM = 60.0
EFFORT_W = 90.0
FELT_M_PER_S2 = 0.05  # This project's own limit: 5 N on a bicycle of 100 kg. Nobody feels less.


@dataclass(frozen=True, slots=True)
class FirstRide:
    """The measurements; None if the motor's push never reached FELT_M_PER_S2.

    Times and turns count from the start of pedalling until the push reaches FELT_M_PER_S2, which is later
    than the first command.
    """

    samples: Samples
    help_after_s: float | None
    help_after_turns: float | None
    full_after_s: float | None
    help_w: float
    run_on_s: float
    run_on_m: float


def first_ride(bike: Bike, seed: int = 1) -> FirstRide:
    """Ride from rest on level road at an easy pace, then stop pedalling."""
    lines = [
        {"at_s": 0, "cadence_rpm": 0, "effort_w": EFFORT_W, "selector_percent": 100},
        {"at_s": START_S, "cadence_rpm": CADENCE_RPM},
        {"at_s": STOP_S, "cadence_rpm": 0},
    ]
    bench = bench_for(bike, seed)
    samples = Samples()
    bench.watch(samples)
    bench.ride(CourseScript(course_from("first_ride", "first ride", END_S, lines)), END_S)
    felt_s = samples.first(push_m_per_s2(bike, samples), FELT_M_PER_S2)
    if felt_s is None:
        return FirstRide(samples, None, None, None, 0.0, 0.0, 0.0)
    begun_deg = samples.crank_deg[0]
    crank_deg = samples.crank_deg[samples.time_s.index(felt_s)]
    before_stop = [at for at, time_s in enumerate(samples.time_s) if STOP_S - 2.0 <= time_s < STOP_S]
    help_w = sum(samples.power_w[at] for at in before_stop) / len(before_stop)
    full_s = samples.first(samples.power_w, 0.9 * max(samples.power_w))
    return FirstRide(
        samples=samples,
        help_after_s=felt_s - START_S,
        help_after_turns=(crank_deg - begun_deg) / 360.0,
        full_after_s=None if full_s is None else full_s - felt_s,
        help_w=help_w,
        run_on_s=bench.meter.longest_run_on_s,
        run_on_m=bench.meter.longest_cutoff_distance_m,
    )


def push_m_per_s2(bike: Bike, samples: Samples) -> list[float]:
    """Return the bicycle's acceleration by the motor alone: torque / radius / mass."""
    radius_m = bike.bicycle.wheel_circumference_m / (2.0 * pi)
    idle_a = bike.motor.no_load_current_a
    per_a = bike.motor.torque_constant_nm_per_a / radius_m / bike.bicycle.mass_kg
    return [max(motor_a - idle_a, 0.0) * per_a for motor_a in samples.motor_a]
