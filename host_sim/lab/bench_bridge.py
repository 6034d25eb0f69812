"""Lesson 4 on a real board: a step that a board made, and the same step on the bench.

The bench uses the board's own settings, with the cadence and wheel speed that the board sent, so only the
motor and the power stage differ: the model against the real ones. Both curves are the power that the
firmware reads and the command that it gives.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from statistics import mean, median

from firmware.controller import Controller
from firmware.records import Outputs
from firmware.settings import Settings
from host_sim.bench.assemble import bench_for
from host_sim.bench.clock import US_PER_S
from host_sim.bench.course import course_from
from host_sim.bench.script import CourseScript
from host_sim.bikes.model import Bike
from host_sim.lab.desk_motor import DeskBattery, DeskMotor
from host_sim.lab.riding import Lines, Watching
from host_sim.units import KM_PER_H_PER_M_PER_S
from host_sim.watching.step_seen import StepSeen

LAST_S = 1.0  # At the end, where a step has settled.
NEAR_SHARE = 0.9
_LEAD_S = 2.0  # A longer rest on the bench, where the controller has just started.
_SPARE_S = 2.0


@dataclass(frozen=True, slots=True)
class Curve:
    """A step, sample by sample: time from the command's rise (s), power as read, setpoint, and command."""

    time_s: tuple[float, ...]
    power_w: tuple[float, ...]
    setpoint_w: tuple[float, ...]
    command_v: tuple[float, ...]

    @property
    def last_w(self) -> float:
        """The mean power of the last second, in W."""
        return self._last(self.power_w)

    @property
    def last_v(self) -> float:
        """The mean command of the last second, in V."""
        return self._last(self.command_v)

    @property
    def rise_s(self) -> float | None:
        """The time from the command's rise to nine tenths of the setpoint, in s; None if never reached."""
        pairs = zip(self.time_s, self.power_w, self.setpoint_w, strict=True)
        return next((at for at, w, aim in pairs if at >= 0.0 and aim > 0.0 and w >= NEAR_SHARE * aim), None)

    @property
    def overshoot_percent(self) -> float:
        """By how much power exceeds the largest setpoint, in % of it; 0 if it does not."""
        most_w = max(self.setpoint_w)
        highest_w = max(w for at, w in zip(self.time_s, self.power_w, strict=True) if at >= 0.0)
        return max(0.0, 100.0 * (highest_w / most_w - 1.0)) if most_w > 0.0 else 0.0

    def _last(self, values: Sequence[float]) -> float:
        end_s = self.time_s[-1]
        return mean(v for at, v in zip(self.time_s, values, strict=True) if at > end_s - LAST_S)


@dataclass(frozen=True, slots=True)
class Bridged:
    """A step as measured and as simulated."""

    measured: Curve
    simulated: Curve
    gain_uv_per_w: int
    integral_ms: int
    rise_mv_per_s: int

    @property
    def largest_w(self) -> float:
        """The largest difference of the two power curves after the command's rise, in W."""
        measured, simulated = self.measured, self.simulated
        return max(
            abs(w - _value_at(simulated, at))
            for at, w in zip(measured.time_s, measured.power_w, strict=True)
            if 0.0 <= at <= simulated.time_s[-1]
        )


class _Look(Watching):
    """Records the values that telemetry would have sent, in every control period."""

    def __init__(self) -> None:
        self.rows: list[tuple[float, float, float, float]] = []

    def look(self, outputs: Outputs) -> None:
        controller = self._controller
        setpoint_w = min(controller.request.wanted_w, controller.ceilings.ceiling_w)
        now_s = self._world.now_us / US_PER_S
        self.rows.append((now_s, controller.supply.power_w, setpoint_w, outputs.command_mv / 1000.0))


def bridge(bike: Bike, settings: dict[str, int], step: StepSeen, desk: bool) -> Bridged:
    """Ride the step on the bench; `desk` puts the desk board's motor and battery in place of the bike's."""
    frames = step.frames
    measured = Curve(
        tuple(at - step.step_s for at in step.time_s),
        tuple(float(frame.power_w) for frame in frames),
        tuple(float(min(frame.wanted_w, frame.ceiling_w)) for frame in frames),
        tuple(frame.command_v for frame in frames),
    )
    own = Settings(settings)
    simulated = _simulated(bike, own, step, desk)
    return Bridged(measured, simulated, own.gain_uv_per_w, own.integral_ms, own.rise_mv_per_s)


def course_lines(step: StepSeen) -> Lines:
    """Return the step as a course: the wheel at the board's speed, the crank at the median cadence."""
    frames, begun_s = step.frames, step.time_s[0]
    cadence_rpm = median(frame.cadence_rpm for frame in frames if frame.cadence_rpm > 0)
    moved = next(at for at, frame in enumerate(frames) if frame.edges != frames[0].edges)
    lines: Lines = [
        {
            "at_s": 0, "crank_free": True, "cadence_rpm": 0,
            "roller_km_per_h": frames[0].speed_m_per_s * KM_PER_H_PER_M_PER_S,
            "selector_percent": 100.0 * frames[-1].share,
        }
    ]  # fmt: skip
    for at, (frame, time_s) in enumerate(zip(frames[1:], step.time_s[1:], strict=True), start=1):
        lines.append(
            {
                "at_s": round(_LEAD_S + time_s - begun_s, 6),
                "cadence_rpm": cadence_rpm if at >= moved else 0,
                "roller_km_per_h": frame.speed_m_per_s * KM_PER_H_PER_M_PER_S,
            }
        )
    return lines


def _simulated(bike: Bike, settings: Settings, step: StepSeen, desk: bool) -> Curve:
    bench = bench_for(bike, 1, build=lambda _, now_us: Controller(settings, now_us))
    if desk:
        bench.world.motor = DeskMotor(settings)
        bench.world.battery = DeskBattery(settings)
    look = _Look()
    bench.watch(look)
    seconds = _LEAD_S + step.time_s[-1] - step.time_s[0] + _SPARE_S
    bench.ride(CourseScript(course_from("step", "step", seconds, course_lines(step))), seconds)
    first_s = next((at for at, _, _, volts in look.rows if volts > 0.0), None)
    if first_s is None:
        return Curve((0.0, step.time_s[-1]), (0.0, 0.0), (0.0, 0.0), (0.0, 0.0))
    shown = [row for row in look.rows if step.time_s[0] <= row[0] - first_s <= step.time_s[-1]]
    times_s, power_w, setpoint_w, command_v = zip(*shown, strict=True)
    return Curve(tuple(at - first_s - step.step_s for at in times_s), power_w, setpoint_w, command_v)


def _value_at(curve: Curve, time_s: float) -> float:
    """Return the power of a curve at a time, from the sample before it."""
    return next(
        (w for at, w in zip(reversed(curve.time_s), reversed(curve.power_w), strict=True) if at <= time_s),
        0.0,
    )
