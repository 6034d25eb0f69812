"""Lesson 6: break it. What the fault latch and the output guard make of a failure."""

from dataclasses import dataclass
from typing import Any

from firmware.controller import Controller
from firmware.decide.engagement import ASSISTING, Engagement
from firmware.guard.faults import CAUSE_NAMES, NO_FAULT, Faults
from firmware.guard.output_guard import OutputGuard
from firmware.records import Inputs, Outputs
from firmware.settings import Settings
from host_sim.bench.clock import US_PER_S
from host_sim.bench.sim_board import StepWatch
from host_sim.bench.world import World
from host_sim.lab.checking import Check
from host_sim.lab.riding import Lines, Ridden, lesson_bike, ride

START_S, STOP_S, END_S = 1.2, 6.5, 7.5
_SOON_S = 0.3
_RUN_ON_WORST_S = 0.7  # Three periods of the guard at its slowest, and the motor controller.
_SAME_S = 0.02  # Two samples: as good as the same moment.
ALL_AWAKE = "everything, as it is built"
LATCH_ASLEEP = "all but the fault latch"
GUARD_ALONE = "the guard alone, against a logic gone wrong"
STAFFS = (ALL_AWAKE, LATCH_ASLEEP, GUARD_ALONE)
AT_ONCE, LATER, LAPSES, GOES_ON = (
    "stops at once",
    "stops, but later",
    "lapses, then helps again",
    "goes on helping",
)
GUESSES = (AT_ONCE, LATER, LAPSES, GOES_ON)

STALLS = "the program stalls again and again"
FAULTS_TO_TRY: dict[str, dict[str, Any]] = {
    "a throttle wire breaks": {"name": "throttle wire open"},
    "a throttle wire touches its supply": {"name": "throttle wire shorted"},
    "the wire of pedal sensor channel B breaks": {"name": "channel stuck high", "channel": "B"},
    "both pedal sensor wires are exchanged": {"name": "channels swapped"},
    "one magnet falls off": {"name": "magnet missing", "magnet": 3},
    "electric noise on the pedal sensor": {"name": "noise", "per_s": 200},
    "the wheel sensor is lost": {"name": "wheel sensor lost"},
    "the current reading sticks": {"name": "shunt reading stuck"},
    "the battery wire breaks": {"name": "battery wire open"},
    STALLS: {"name": "loop stalls", "stall_ms": 120},
}
"""What a learner reads, and the bench's fault behind it."""


class SleepingLatch(Faults):
    """A fault latch that never latches anything: for this lesson only, to see what the guard does alone."""

    __slots__ = ()

    def __init__(self, controller: Controller) -> None:
        """Look at the components of a controller."""
        super().__init__(
            controller.settings,
            controller.crank,
            controller.wheel,
            controller.throttle,
            controller.selector,
            controller.supply,
            controller.plausibility,
        )

    def step(self, inputs: Inputs, command_mv: int) -> int:
        """Look at everything and say nothing."""
        super().step(inputs, command_mv)
        self.cause = NO_FAULT
        return NO_FAULT


class StubbornEngagement(Engagement):
    """A logic gone wrong: whatever happens, it is assisting. For this lesson only."""

    __slots__ = ()

    def step(self, event: int) -> int:
        """Take the event and pay no heed."""
        super().step(event)
        self.state = ASSISTING
        return ASSISTING


class WatchedGuard(OutputGuard):
    """The output guard, with a count of the steps in which it let less through than was asked."""

    __slots__ = ("refused_us",)

    def __init__(self, settings: Settings, now_us: int) -> None:
        """Start with nothing refused."""
        super().__init__(settings, now_us)
        self.refused_us: list[int] = []

    def permit(self, command_mv: int, inputs: Inputs, now_us: int) -> int:
        """Ask the guard, and note when it refuses."""
        permitted_mv = super().permit(command_mv, inputs, now_us)
        if permitted_mv < command_mv:
            self.refused_us.append(now_us)
        return permitted_mv


class _Staff(StepWatch):
    """Puts the watched guard and what is out of work into the controller; keeps when the guard cut."""

    def __init__(self, staff: str) -> None:
        self._staff = staff
        self._refused = 0
        self.guard_cuts_s: list[float] = []

    def begin(self, world: World, controller: Controller) -> None:
        self._world = world
        self._guard = WatchedGuard(controller.settings, world.ticks_us(world.now_us))
        self._refused = 0
        controller.guard = self._guard
        if self._staff != ALL_AWAKE:
            controller.faults = SleepingLatch(controller)
        if self._staff == GUARD_ALONE:
            controller.engagement = StubbornEngagement()

    def look(self, outputs: Outputs) -> None:
        refused = len(self._guard.refused_us)
        if refused > self._refused:
            self._refused = refused
            self.guard_cuts_s.append(self._world.now_us / US_PER_S)


@dataclass(frozen=True, slots=True)
class Broken:
    """What the ride came to. `ends_s`: when help ended first after the fault, None if the legs ended it."""

    fault: str
    at_s: float
    cadence_rpm: float
    staff: str
    ridden: Ridden
    cause: str | None
    latched_s: float | None
    guard_cuts_s: list[float]
    ends_s: float | None
    run_on_s: float
    outcome: str


def try_fault(fault: str, at_s: float, cadence_rpm: float, staff: str = ALL_AWAKE) -> Broken:
    """Ride steadily, break one thing at `at_s` (2.5 to 5 s), stop pedalling at 6.5 s."""
    bike = lesson_bike({"settings": {"wheel_lost_ms": 2000}})
    lines: Lines = [
        {"at_s": 0, "cadence_rpm": 0, "effort_w": 90},
        {"at_s": START_S, "cadence_rpm": cadence_rpm},
        {"at_s": at_s, "fault": [FAULTS_TO_TRY[fault]]},
        {"at_s": STOP_S, "cadence_rpm": 0},
    ]
    watch = _Staff(staff)
    ridden = ride(bike, lines, END_S, [watch])
    samples = ridden.samples
    latched = [at for at, cause in enumerate(samples.fault) if cause != NO_FAULT]
    after = [at for at, time_s in enumerate(samples.time_s) if at_s <= time_s < STOP_S]
    ends = next((at for at in after if samples.command_v[at] == 0.0), None)
    driven = [at for at, volt in enumerate(samples.command_v) if volt > 0.0]
    helps_again = ends is not None and any(samples.command_v[at] > 0.0 for at in after if at > ends)
    ends_s = None if ends is None else samples.time_s[ends]
    return Broken(
        fault, at_s, cadence_rpm, staff, ridden,
        cause=CAUSE_NAMES[samples.fault[latched[0]]] if latched else None,
        latched_s=samples.time_s[latched[0]] if latched else None,
        guard_cuts_s=watch.guard_cuts_s,
        ends_s=ends_s,
        run_on_s=max(0.0, samples.time_s[driven[-1]] - STOP_S) if driven else 0.0,
        outcome=_outcome(at_s, ends_s, helps_again),
    )  # fmt: skip


def _outcome(at_s: float, ends_s: float | None, helps_again: bool) -> str:
    if ends_s is None:
        return GOES_ON
    if helps_again:
        return LAPSES
    return AT_ONCE if ends_s - at_s <= _SOON_S else LATER


def check_guess(broken: Broken, guess: str | None) -> Check:
    """Tell whether the guess was right."""
    if guess is None:
        return Check(False, "Guess first, then look.")
    if guess == broken.outcome:
        return Check(True, f"Right: the motor {broken.outcome}. {_why(broken)}")
    return Check(False, f"Not so: the motor {broken.outcome}. {_why(broken)}")


def _why(broken: Broken) -> str:
    ends_s, latched_s = broken.ends_s, broken.latched_s
    if broken.run_on_s > _RUN_ON_WORST_S:
        return "And what matters most does not hold: help does not end when the legs stop."
    if ends_s is None:
        return f"What matters still holds: help ends {broken.run_on_s:.2f} s after the legs stop."
    if broken.fault == STALLS:
        return "Nobody renewed the outputs, so the board fell silent by itself after 50 ms."
    if latched_s is not None and latched_s - ends_s < _SAME_S:
        return f"The latch says: {broken.cause}. It stays until somebody clears it."
    if any(abs(cut_s - ends_s) < _SAME_S for cut_s in broken.guard_cuts_s):
        return "The guard refused the command, from raw edges and inputs alone."
    first = "Neither latch nor guard had to act: what the logic senses left it nothing to drive on."
    if latched_s is not None:
        return f"{first} {latched_s - ends_s:.1f} s later the latch says: {broken.cause}, and it stays."
    return first
