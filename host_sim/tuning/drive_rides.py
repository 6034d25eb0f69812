"""The rides that a drive is measured on, on the whole bench with the unmodified firmware.

*Step*: on a roller at 0.7 of the speed where power fades, from rest to full power, quiet for a while, then a
slope slows the bicycle to three quarters within a second. *Start*: on the road, from standing, the box
empty: the lightest bicycle jerks most. *Edge*: on a roller, the hardest of what the rules "help resumed at
speed" and "power when a slope begins" ride, so that nothing is recommended which they refuse: from rest to
full power at 24 km/h, then a slope that takes 12 km/h in 2 s from a little below the speed where power fades.
"""

from dataclasses import astuple, dataclass
from math import pi

from firmware.controller import Controller
from firmware.decide.engagement import ASSISTING
from firmware.records import Outputs
from host_sim.bench.assemble import bench_for
from host_sim.bench.clock import CONTROL_PERIOD_S, US_PER_S
from host_sim.bench.course import Course, course_from
from host_sim.bench.ride_measures import JERK_PERIODS, SETTLED_SHARE
from host_sim.bench.script import CourseScript
from host_sim.bench.sim_board import StepWatch
from host_sim.bench.world import World
from host_sim.bikes.model import Bike
from host_sim.rules.case import Lines
from host_sim.rules.driving_probes import OVER_LIMIT
from host_sim.rules.riding import on_roller
from host_sim.tuning.rates import empty_mass_kg
from host_sim.tuning.ride_start import DRAWS, draws_of, rest_s
from host_sim.units import KM_PER_H_PER_M_PER_S

STEP_SPEED_SHARE = 0.7
SLOPE_S = 9.0  # After the legs begin: time enough to settle.
QUIET_S = 3.0  # Before the slope: here the power should not swing.
STEP_S = 15.0
START_S = 8.0
END_PERIODS = 200  # 1 s.
EDGE_SHARE = 0.95
EDGE_LESS_KM_PER_H, EDGE_SLOWEST_KM_PER_H = 12.0, 4.0
EDGE_STEP_KM_PER_H = 24.0
EDGE_FASTER_S, EDGE_SLOPE_S, EDGE_S = 3.0, 6.0, 9.5


@dataclass(frozen=True, slots=True)
class DriveMeasures:
    """The measures of the rides.

    `jerk_m_per_s3` the steepest rise of the motor's push over 0.1 s on both rides up to the slope, on the
    empty bicycle: what the rider is pushed with when help comes; `half_s` and `reach_s` from
    engaging to half and to 90 % of what is allowed (or to the highest command); `overshoot_percent`,
    `settling_s` (within a tenth for good) and `swing_percent` (highest to lowest while all is quiet) of the
    step; `disturbance_percent` the most that the slope moves the power and `recovery_s` how long that is
    more than a tenth. Of the edge ride: `edge_half_s` until half of the power is there, `excess_j` the energy
    above OVER_LIMIT; both 0 without a shunt.
    """

    jerk_m_per_s3: float
    half_s: float
    reach_s: float
    overshoot_percent: float
    settling_s: float
    swing_percent: float
    disturbance_percent: float
    recovery_s: float
    edge_half_s: float = 0.0
    excess_j: float = 0.0


class PowerTrace(StepWatch):
    """Power as a share of what is allowed, in each control period from the moment of engaging.

    Read: `shares`, `push_m_per_s2` (the motor's push over the mass without load), `times_s` since the ride
    began, `wanted_w` (the last), `commands_mv`, `powers_w`.
    """

    def __init__(self, bike: Bike) -> None:
        """Store the bicycle for one ride."""
        motor, bicycle = bike.motor, bike.bicycle
        self._force_per_a = motor.torque_constant_nm_per_a * 2.0 * pi / bicycle.wheel_circumference_m
        self._no_load_a = motor.no_load_current_a
        self._mass_kg = empty_mass_kg(bike)
        self.shares: list[float] = []
        self.push_m_per_s2: list[float] = []
        self.times_s: list[float] = []
        self.commands_mv: list[int] = []
        self.powers_w: list[float] = []
        self.wanted_w = 0

    def begin(self, world: World, controller: Controller) -> None:
        """Store the world and the controller."""
        self._world = world
        self._controller = controller

    def look(self, outputs: Outputs) -> None:
        """Record one control period, once engaged."""
        controller = self._controller
        if controller.engagement.state != ASSISTING and not self.shares:
            return
        motor = self._world.motor
        allowed_w = min(controller.request.wanted_w, controller.ceilings.ceiling_w)
        share = motor.power_w / allowed_w if allowed_w > 0 else 0.0
        if share < 1.0 and outputs.command_mv >= controller.settings.command_max_mv:
            share = 1.0  # The motor can't draw more at this speed, so the power can't follow.
        self.wanted_w = allowed_w
        self.shares.append(share)
        self.powers_w.append(motor.power_w)
        self.commands_mv.append(outputs.command_mv)
        self.times_s.append(self._world.now_us / US_PER_S)
        push_a = max(motor.motor_current_a - self._no_load_a, 0.0)
        self.push_m_per_s2.append(self._force_per_a * push_a / self._mass_kg)


def step_course(bike: Bike) -> tuple[Course, float]:
    """Return the step ride and the second at which pedalling begins."""
    begin_s = rest_s(bike)
    speed_km_per_h = (
        STEP_SPEED_SHARE * bike.firmware_settings.taper_start_mm_per_s / 1000.0 * KM_PER_H_PER_M_PER_S
    )
    lines: Lines = [
        on_roller(speed_km_per_h),
        {"at_s": begin_s, "cadence_rpm": 70},
        {"at_s": begin_s + SLOPE_S, "over_s": 1.0, "roller_km_per_h": 0.75 * speed_km_per_h},
    ]
    return course_from("power step", "A step of power", begin_s + STEP_S, lines), begin_s


def edge_course(bike: Bike) -> Course:
    """Return the edge ride."""
    begin_s = rest_s(bike)
    taper_km_per_h = bike.firmware_settings.taper_start_mm_per_s / 1000.0 * KM_PER_H_PER_M_PER_S
    speed_km_per_h = EDGE_SHARE * taper_km_per_h
    step_km_per_h = min(EDGE_STEP_KM_PER_H, speed_km_per_h)
    slower_km_per_h = max(speed_km_per_h - EDGE_LESS_KM_PER_H, EDGE_SLOWEST_KM_PER_H)
    lines: Lines = [
        on_roller(step_km_per_h),
        {"at_s": begin_s, "cadence_rpm": 70},
        {"at_s": begin_s + EDGE_FASTER_S, "over_s": 2.0, "roller_km_per_h": speed_km_per_h},
        {"at_s": begin_s + EDGE_SLOPE_S, "over_s": 2.0, "roller_km_per_h": slower_km_per_h},
    ]
    return course_from("power edge", "A step of power and a slope at speed", begin_s + EDGE_S, lines)


def start_course(bike: Bike) -> Course:
    """Return the start on the road."""
    begin_s = rest_s(bike)
    lines: Lines = [
        {"at_s": 0, "cadence_rpm": 0, "effort_w": 60},
        {"at_s": begin_s, "cadence_rpm": 60},
    ]
    return course_from("start", "A start from standing", begin_s + START_S, lines)


def empty(bike: Bike) -> Bike:
    """Return the bicycle without its load; its settings stay."""
    return bike.model_copy(update={"bicycle": bike.bicycle.model_copy(update={"load_kg": 0.0})})


def traced(bike: Bike, course: Course, seed: int) -> PowerTrace:
    """Ride `course` once on the whole bench and return the trace of its power."""
    bench = bench_for(bike, seed)
    trace = PowerTrace(bike)
    bench.watch(trace)
    bench.ride(CourseScript(course), course.seconds)
    return trace


def measure_drive(bike: Bike, seed: int = 1) -> DriveMeasures:
    """Ride all of them DRAWS times and return the means; a ride without help counts with its whole length.

    A draw decides where the wheel's magnets are at a start: between draws the jerk differed by a fifth.
    """
    each = [astuple(_measure_once(bike, one)) for one in draws_of(seed)]
    return DriveMeasures(*(sum(values) / DRAWS for values in zip(*each, strict=True)))


def _measure_once(bike: Bike, seed: int) -> DriveMeasures:
    course, begin_s = step_course(bike)
    slope_s = begin_s + SLOPE_S
    step = traced(bike, course, seed)
    start = traced(empty(bike), start_course(bike), seed)
    edge_half_s, excess_j = _edge(bike, seed)
    if not bike.shunt.fitted:
        _compare_with_the_end(step, slope_s)
    before = [share for share, at_s in zip(step.shares, step.times_s, strict=True) if at_s < slope_s]
    after = [share for share, at_s in zip(step.shares, step.times_s, strict=True) if at_s >= slope_s]
    outside = [index for index, share in enumerate(before) if abs(share - 1.0) > SETTLED_SHARE]
    quiet = before[-round(QUIET_S / CONTROL_PERIOD_S) :]
    # Without a shunt nothing corrects the power, so the settings don't influence what a slope does to it.
    off = [abs(share - 1.0) for share in after] if bike.shunt.fitted else [0.0]
    return DriveMeasures(
        # Not after the slope has begun: what the power does then counts as disturbance and recovery.
        jerk_m_per_s3=max(
            _jerk_m_per_s3(start.push_m_per_s2), _jerk_m_per_s3(step.push_m_per_s2[: len(before)])
        ),
        half_s=_first_s(before, 0.5),
        reach_s=_first_s(before, 0.9),
        overshoot_percent=100.0 * max(max(before, default=0.0) - 1.0, 0.0),
        settling_s=(outside[-1] + 1) * CONTROL_PERIOD_S if outside else 0.0 if before else STEP_S,
        swing_percent=100.0 * (max(quiet) - min(quiet)) if quiet else 100.0,
        disturbance_percent=100.0 * max(off, default=1.0),
        recovery_s=sum(share > SETTLED_SHARE for share in off) * CONTROL_PERIOD_S if off else STEP_S,
        edge_half_s=edge_half_s,
        excess_j=excess_j,
    )


def _edge(bike: Bike, seed: int) -> tuple[float, float]:
    """Ride the edge ride; return the time to half of the power, and the energy that was too much, J."""
    if not bike.shunt.fitted:
        return 0.0, 0.0
    trace = traced(bike, edge_course(bike), seed)
    limit_w = OVER_LIMIT * bike.firmware_settings.power_limit_w
    over_w = sum(max(power_w - limit_w, 0.0) for power_w in trace.powers_w)
    half_s = _first_s(trace.shares, 0.5) if bike.motor_controller.kind == "speed" else 0.0
    return half_s, over_w * CONTROL_PERIOD_S


def _first_s(shares: list[float], share: float) -> float:
    """Return how long after engaging a share of the power is reached; if never, the length of the ride."""
    return next((index * CONTROL_PERIOD_S for index, one in enumerate(shares) if one >= share), STEP_S)


def _compare_with_the_end(step: PowerTrace, end_s: float) -> None:
    """Without a shunt the power doesn't follow the limit, so shares are of the power that was reached."""
    pairs = zip(step.powers_w, step.times_s, strict=True)
    last_w = [power_w for power_w, at_s in pairs if at_s < end_s][-END_PERIODS:]
    mean_w = sum(last_w) / len(last_w) if last_w else 0.0
    if mean_w > 0.0:
        step.shares = [power_w / mean_w for power_w in step.powers_w]


def _jerk_m_per_s3(push_m_per_s2: list[float]) -> float:
    """Return the steepest rise over JERK_PERIODS, from nothing before the first entry."""
    values = [0.0] * JERK_PERIODS + push_m_per_s2
    rises = (later - earlier for earlier, later in zip(values, values[JERK_PERIODS:], strict=False))
    return max(max(rises, default=0.0), 0.0) / (JERK_PERIODS * CONTROL_PERIOD_S)
