"""Lesson 4: the power loop, a PI controller. More gain is quicker until it surges; anti-windup."""

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

from firmware.controller import Controller
from firmware.drive.power_loop import PowerLoop
from firmware.integers import clamp
from firmware.records import Outputs
from firmware.settings import MOTOR_UNKNOWN, Settings
from firmware.ticks import ticks_diff_us
from host_sim.bench.clock import US_PER_S
from host_sim.bench.sim_board import StepWatch
from host_sim.bench.world import World
from host_sim.bikes.model import Bike
from host_sim.lab.branching import Branch, ride_to
from host_sim.lab.checking import Check, check_all
from host_sim.lab.loop_margins import LAG_S, SPEED_KM_PER_H, Margins, margins_of
from host_sim.lab.riding import Lines, Watching, largest, lesson_bike
from host_sim.report.samples import Samples

RISE_MV_PER_S = 10_000  # The slew limiter at its fastest, since this lesson is about the loop.
START_S, STEP_S, END_S = 1.2, 3.5, 6.5
STEPS_S = (0.0, 0.0517, 0.1033)  # A third of a wheel pulse and of a control period apart.
_ANOTHER_S = 2.5  # A slower step counts as one that never gets there.
LOW_POSITION, HIGH_POSITION = 2, 4
OVERSHOOT_MOST_PERCENT = 8.5
RISE_MOST_S = 0.2
SWING_MOST_PERCENT = 8.0
_QUIET_S = 1.0  # At the end of the ride, when a loop that settles has settled.
_TURN_W = 2.0  # A smaller change of direction does not count: readings come in whole watts.


class LoopWithoutAntiWindup(PowerLoop):
    """The power loop in its simplest form: the integral sums error times time and ignores all limits."""

    __slots__ = ("_windup_us",)

    def __init__(self, settings: Settings, now_us: int) -> None:
        """Start at rest."""
        super().__init__(settings, now_us)
        self._windup_us = now_us

    def step(self, allowed_w: int, power_w: int, applied_mv: int, now_us: int) -> int:
        """Return the target voltage; the integral does not know the command that was really sent."""
        error_uv = self._gain_uv_per_w * (allowed_w - power_w)
        units = clamp(ticks_diff_us(now_us, self._windup_us) // 100, 0, 200)
        self._windup_us = now_us
        self._integral_uv += error_uv * units // self._integral_units
        self._target_uv = clamp(error_uv + self._integral_uv, 0, self._range_uv)
        self.target_mv = self._start_mv + self._target_uv // 1000
        return self.target_mv


class _Replace(StepWatch):
    """Puts the loop without anti-windup into the controller that has just been switched on."""

    def begin(self, world: World, controller: Controller) -> None:
        """Replace the power loop."""
        now_us = world.ticks_us(world.now_us)
        controller.power_loop = LoopWithoutAntiWindup(controller.settings, now_us)


class Parts(Watching):
    """The parts of the PI controller, every control period, and whether the slew limit acts."""

    def __init__(self) -> None:
        """Start empty."""
        self.time_s: list[float] = []
        self.setpoint_w: list[float] = []
        self.error_w: list[float] = []
        self.p_v: list[float] = []
        self.i_v: list[float] = []
        self.target_v: list[float] = []
        self.command_v: list[float] = []
        self.slewed: list[bool] = []

    def look(self, outputs: Outputs) -> None:
        """Record a control period."""
        controller = self._controller
        loop = controller.power_loop
        allowed_w = min(controller.request.wanted_w, controller.ceilings.ceiling_w)
        error_w = allowed_w - controller.supply.power_w
        self.time_s.append(self._world.now_us / US_PER_S)
        self.setpoint_w.append(allowed_w)
        self.error_w.append(error_w)
        self.p_v.append(loop._gain_uv_per_w * error_w / 1e6)
        self.i_v.append(loop._integral_uv / 1e6)
        self.target_v.append(loop.target_mv / 1e3)
        self.command_v.append(outputs.command_mv / 1e3)
        self.slewed.append(outputs.command_mv > 0 and abs(loop.target_mv - outputs.command_mv) > 1)


@dataclass(frozen=True, slots=True)
class Looped:
    """The result of the ride: the step from `low_w` to `high_w`, and the error at the end.

    `overshoots_percent` and `rises_s` are those of steps at several moments between two control periods and
    two wheel pulses, the first ones those of the ride drawn.
    """

    gain_uv_per_w: int
    integral_ms: int
    anti_windup: bool
    samples: Samples
    parts: Parts
    limits_v: tuple[float, float]
    low_w: float
    high_w: float
    overshoots_percent: list[float]
    rises_s: list[float | None]
    swing_percent: float
    margins: Margins

    @property
    def overshoot_percent(self) -> float:
        """The largest overshoot of all steps."""
        return max(self.overshoots_percent)

    @property
    def rise_s(self) -> float | None:
        """The longest time to nine tenths of the step, in s; None if one step never got there."""
        return largest(self.rises_s)


def loop_bike(gain_uv_per_w: int, integral_ms: int) -> Bike:
    """Return the trike with a slow power stage and this power loop."""
    return lesson_bike(
        {
            "shunt": {"noise_a": 0.0},
            "motor_controller": {"lag_s": LAG_S},
            "settings": {
                "gain_uv_per_w": gain_uv_per_w, "integral_ms": integral_ms,
                "rise_mv_per_s": RISE_MV_PER_S, "fall_mv_per_s": RISE_MV_PER_S,
                "motor_kind": MOTOR_UNKNOWN,  # No ceiling by the motor's model: this is about the loop alone.
            },
        }
    )  # fmt: skip


def try_loop(
    gain_uv_per_w: int, integral_ms: int, anti_windup: bool, steps_s: Sequence[float] = STEPS_S
) -> Looped:
    """Step the selector from its second position to the full one at 18 km/h on a roller.

    `gain_uv_per_w` 1 to 50000, `integral_ms` 20 to 20000, as in the firmware's table. The step is repeated
    at the delays `steps_s`, the first of which is 0.
    """
    bike = loop_bike(gain_uv_per_w, integral_ms)
    lines: Lines = [
        {
            "at_s": 0, "cadence_rpm": 0, "effort_w": 90, "selector_position": LOW_POSITION,
            "roller_km_per_h": SPEED_KM_PER_H,
        },
        {"at_s": START_S, "cadence_rpm": 60},
    ]  # fmt: skip
    replaced = [] if anti_windup else [_Replace()]
    trunk = ride_to(bike, lines, STEP_S - 0.05, [Samples(), Parts()], replaced)
    branches = []
    for later_s in steps_s:
        trunk.ride_on(STEP_S + later_s - 1e-6)  # So that the step at exactly this time sees it.
        branch = trunk.copy()
        branch.move_selector(HIGH_POSITION)
        branch.ride_on(END_S if later_s == 0.0 else STEP_S + later_s + _ANOTHER_S)
        branches.append(branch)
    return _measured(bike, branches, steps_s, anti_windup)


def _measured(bike: Bike, branches: list[Branch], steps_s: Sequence[float], anti_windup: bool) -> Looped:
    settings = bike.firmware_settings
    gain_uv_per_w, integral_ms = settings.gain_uv_per_w, settings.integral_ms
    low_w = settings.assist_power_w * settings.share_2_permille / 1000.0
    high_w = float(settings.assist_power_w)
    samples: Samples = branches[0].watches[0]
    after = [_after(branch, STEP_S + at) for branch, at in zip(branches, steps_s, strict=True)]
    quiet = [w for at, w in after[0] if at > END_S - STEP_S - _QUIET_S]
    return Looped(
        gain_uv_per_w, integral_ms, anti_windup, samples, branches[0].watches[1],
        (settings.command_start_mv / 1e3, settings.command_max_mv / 1e3), low_w, high_w,
        overshoots_percent=[
            max(0.0, 100.0 * (max(w for _, w in step) - high_w) / high_w) for step in after
        ],
        rises_s=[
            next((at for at, w in step if w >= low_w + 0.9 * (high_w - low_w)), None) for step in after
        ],
        swing_percent=100.0 * swing_of(quiet, _TURN_W) / high_w,
        margins=margins_of(bike, gain_uv_per_w, integral_ms),
    )  # fmt: skip


def _after(branch: Branch, step_s: float) -> list[tuple[float, float]]:
    """Return the power of a ride, each with the time since its step."""
    samples: Samples = branch.watches[0]
    pairs = zip(samples.time_s, samples.power_w, strict=True)
    return [(at - step_s, w) for at, w in pairs if at > step_s]


def swing_of(values: list[float], least: float) -> float:
    """Return the largest distance from one turning point to the next; 0 if the values only rise or fall.

    A turning point counts once the values have come back by `least`. Changes before the first and after the
    last one are not a swing, so that a slow creep does not count.
    """
    turns: list[float] = []
    extreme, direction = values[0], 0
    low = high = values[0]
    for value in values:
        if direction == 0:
            low, high = min(low, value), max(high, value)
            if high - low >= least:
                direction = 1 if value == high else -1
                extreme = value
        elif (value - extreme) * direction >= 0.0:
            extreme = value
        elif (extreme - value) * direction >= least:
            turns.append(extreme)
            extreme, direction = value, -direction
    return max((abs(late - early) for early, late in pairwise(turns)), default=0.0)


def check_loop(looped: Looped) -> Check:
    """Check whether the step is quick, does not overshoot, settles, and needs its anti-windup."""
    slow = "it never reaches the power" if looped.rise_s is None else f"it takes {looped.rise_s:.2f} s"
    over, swing = looped.overshoot_percent, looped.swing_percent
    wishes = [
        (looped.anti_windup, "switch the anti-windup on"),
        (looped.rise_s is not None and looped.rise_s <= RISE_MOST_S, f"{slow}, wanted {RISE_MOST_S:g} s"),
        (over <= OVERSHOOT_MOST_PERCENT, f"overshoot {over:.0f} %, wanted {OVERSHOOT_MOST_PERCENT:g} %"),
        (swing <= SWING_MOST_PERCENT, f"it surges by {swing:.0f} %"),
    ]
    if all(holds for holds, _ in wishes):
        without = try_loop(looped.gain_uv_per_w, looped.integral_ms, False, steps_s=(0.0,))
        wishes.append(
            (
                without.overshoot_percent > OVERSHOOT_MOST_PERCENT,
                "the loop is quick and calm, but without anti-windup too (overshoot "
                f"{without.overshoot_percent:.0f} %): find a quicker loop that reaches the slew limit",
            )
        )
    return check_all(
        wishes,
        "With an integral time near the lag of the power stage, a high gain works well. Now switch the "
        "anti-windup off: the same two settings overshoot, because the I part kept growing while the slew "
        "limit held the command back.",
    )
