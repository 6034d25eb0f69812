"""Lesson 6: break it. How the fault latch and the output guard react to a failure."""

from dataclasses import dataclass
from typing import Any

from firmware.controller import Controller
from firmware.decide.engagement import ASSISTING, Engagement
from firmware.guard.faults import CAUSE_NAMES, NO_FAULT, Faults
from firmware.guard.output_guard import OutputGuard
from firmware.records import Inputs, Outputs
from firmware.settings import Settings
from host_sim.bench.clock import US_PER_S
from host_sim.bench.faults import FaultSpec, set_faults
from host_sim.bench.sim_board import StepWatch
from host_sim.bench.world import World
from host_sim.lab.branching import Branch, ride_to
from host_sim.lab.checking import Check
from host_sim.lab.riding import Lines, lesson_bike
from host_sim.report.samples import Samples

START_S, STOP_S, END_S = 1.2, 6.5, 7.5
LATER_S = (0.0, 0.117, 0.251)  # When it breaks in the other rides, after the chosen time.
_SOON_S = 0.3
_RUN_ON_WORST_S = 0.7  # Three periods of the guard at its slowest, and the motor controller.
_SAME_S = 0.02  # Two samples: treated as the same moment.
ALL_ACTIVE = "everything, as built"
LATCH_DISABLED = "everything except the fault latch"
GUARD_ALONE = "the guard alone, with faulty logic"
STAFFS = (ALL_ACTIVE, LATCH_DISABLED, GUARD_ALONE)
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
    "electrical noise on the pedal sensor": {"name": "noise", "per_s": 200},
    "the wheel sensor is lost": {"name": "wheel sensor lost"},
    "the current reading sticks": {"name": "shunt reading stuck"},
    "the battery wire breaks": {"name": "battery wire open"},
    STALLS: {"name": "loop stalls", "stall_ms": 120},
}
"""The text that a pupil reads, and the bench's fault that it describes."""


class DisabledLatch(Faults):
    """A fault latch that never latches. For this lesson only, to show what the guard does alone."""

    __slots__ = ()

    def __init__(self, controller: Controller) -> None:
        """Take the components of a controller."""
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
        """Run the checks, but never report a fault."""
        super().step(inputs, command_mv)
        self.cause = NO_FAULT
        return NO_FAULT


class FaultyEngagement(Engagement):
    """Faulty logic: it is always in the state "assisting". For this lesson only."""

    __slots__ = ()

    def step(self, event: int) -> int:
        """Ignore the event."""
        super().step(event)
        self.state = ASSISTING
        return ASSISTING


class WatchedGuard(OutputGuard):
    """The output guard; `refused` counts the steps in which it lowered the command."""

    __slots__ = ("refused",)

    def __init__(self, settings: Settings, now_us: int) -> None:
        """Start with nothing refused."""
        super().__init__(settings, now_us)
        self.refused = 0

    def permit(self, command_mv: int, inputs: Inputs, now_us: int) -> int:
        """Run the guard and count the steps in which it lowers the command."""
        permitted_mv = super().permit(command_mv, inputs, now_us)
        if permitted_mv < command_mv:
            self.refused += 1
        return permitted_mv


class _Staff(StepWatch):
    """Puts the watched guard and the disabled parts into a controller that has just been switched on."""

    def __init__(self, staff: str) -> None:
        self._staff = staff

    def begin(self, world: World, controller: Controller) -> None:
        controller.guard = WatchedGuard(controller.settings, world.ticks_us(world.now_us))
        if self._staff != ALL_ACTIVE:
            controller.faults = DisabledLatch(controller)
        if self._staff == GUARD_ALONE:
            controller.engagement = FaultyEngagement()


class _GuardCuts(StepWatch):
    """Records the times at which the watched guard lowered the command."""

    def __init__(self) -> None:
        self._refused = 0
        self.cuts_s: list[float] = []

    def begin(self, world: World, controller: Controller) -> None:
        self._world = world
        assert isinstance(controller.guard, WatchedGuard)
        self._guard = controller.guard

    def look(self, outputs: Outputs) -> None:
        if self._guard.refused > self._refused:
            self._refused = self._guard.refused
            self.cuts_s.append(self._world.now_us / US_PER_S)


@dataclass(frozen=True, slots=True)
class Broken:
    """The result of the ride drawn, and of rides in which the same thing breaks a moment later.

    `ends_s`: when help first ended after the fault; None if it ended only because pedalling stopped.
    `outcomes` are those of all rides, the first one that of the ride drawn; `outcome` and `run_on_s` are the
    worst of all rides.
    """

    fault: str
    at_s: float
    cadence_rpm: float
    staff: str
    samples: Samples
    cause: str | None
    latched_s: float | None
    guard_cuts_s: list[float]
    ends_s: float | None
    run_on_s: float
    outcomes: list[str]

    @property
    def outcome(self) -> str:
        """The most dangerous outcome of all rides."""
        return max(self.outcomes, key=GUESSES.index)


def try_fault(fault: str, at_s: float, cadence_rpm: float, staff: str = ALL_ACTIVE) -> Broken:
    """Ride steadily, break one thing at `at_s` (2.5 to 5 s), stop pedalling at 6.5 s.

    Copies of the ride fail at the other moments of LATER_S, since the positions of magnets and pulses are
    random. `cadence_rpm` 30 to 90; `fault` and `staff` as in FAULTS_TO_TRY and STAFFS.
    """
    bike = lesson_bike({"settings": {"wheel_lost_ms": 2000}})
    lines: Lines = [
        {"at_s": 0, "cadence_rpm": 0, "effort_w": 90},
        {"at_s": START_S, "cadence_rpm": cadence_rpm},
    ]
    watches = [Samples(), _GuardCuts()]
    trunk = ride_to(bike, lines, at_s - 0.05, watches, [_Staff(staff)])
    rides = []
    for later_s in LATER_S:
        trunk.ride_on(at_s + later_s - 1e-6)  # So that the step at exactly this time sees it.
        rides.append(_broken(trunk.copy(), FAULTS_TO_TRY[fault]))
    found = [
        _help_after(ridden.watches[0], at_s + later_s) for ridden, later_s in zip(rides, LATER_S, strict=True)
    ]
    samples: Samples = rides[0].watches[0]
    latched = [at for at, cause in enumerate(samples.fault) if cause != NO_FAULT]
    return Broken(
        fault, at_s, cadence_rpm, staff, samples,
        cause=CAUSE_NAMES[samples.fault[latched[0]]] if latched else None,
        latched_s=samples.time_s[latched[0]] if latched else None,
        guard_cuts_s=rides[0].watches[1].cuts_s,
        ends_s=found[0][0],
        run_on_s=max(_run_on_s(ridden.watches[0]) for ridden in rides),
        outcomes=[_outcome(at_s + later_s, *one) for one, later_s in zip(found, LATER_S, strict=True)],
    )  # fmt: skip


def _broken(branch: Branch, fault: dict[str, Any]) -> Branch:
    """Break one thing now, and stop pedalling as in every ride of this lesson."""
    keys = {key: value for key, value in fault.items() if key != "name"}
    set_faults(branch.world, [FaultSpec(fault["name"], **keys)])
    branch.ride_on(STOP_S)
    branch.stop_pedalling()
    branch.ride_on(END_S)
    return branch


def _help_after(samples: Samples, at_s: float) -> tuple[float | None, bool]:
    """Return when help first ended between the fault and the stop of pedalling, and whether it came back."""
    after = [at for at, time_s in enumerate(samples.time_s) if at_s <= time_s < STOP_S]
    ends = next((at for at in after if samples.command_v[at] == 0.0), None)
    helps_again = ends is not None and any(samples.command_v[at] > 0.0 for at in after if at > ends)
    return None if ends is None else samples.time_s[ends], helps_again


def _run_on_s(samples: Samples) -> float:
    """Return how long the command stayed above zero after pedalling stopped, in s."""
    driven = [at for at, volt in enumerate(samples.command_v) if volt > 0.0]
    return max(0.0, samples.time_s[driven[-1]] - STOP_S) if driven else 0.0


def _outcome(at_s: float, ends_s: float | None, helps_again: bool) -> str:
    if ends_s is None:
        return GOES_ON
    if helps_again:
        return LAPSES
    return AT_ONCE if ends_s - at_s <= _SOON_S else LATER


def check_guess(broken: Broken, guess: str | None) -> Check:
    """Check whether the guess was right; None if the pupil has not predicted anything yet."""
    if guess is None:
        return Check(False, "Predict first, then look.")
    right = guess == broken.outcome
    return Check(right, f"{'Right' if right else 'Wrong'}: the motor {broken.outcome}. {why(broken)}")


def why(broken: Broken) -> str:
    """Explain the outcome in one or two sentences."""
    if len(set(broken.outcomes)) == 1:
        return _reason(broken)
    several = f"It depends on the moment: the worst of {len(broken.outcomes)} rides counts"
    return f"{several}; in the ride shown the motor {broken.outcomes[0]}. {_reason(broken)}"


def _reason(broken: Broken) -> str:
    """Return what ended help in the ride drawn, or which rule still holds."""
    ends_s, latched_s = broken.ends_s, broken.latched_s
    if broken.run_on_s > _RUN_ON_WORST_S:
        return "The most important rule fails: help does not end when pedalling stops."
    if ends_s is None:
        return f"The most important rule holds: help ends {broken.run_on_s:.2f} s after pedalling stops."
    if broken.fault == STALLS:
        return "Nothing renewed the outputs, so they expired after 50 ms."
    if latched_s is not None and latched_s - ends_s < _SAME_S:
        return f"The latch says: {broken.cause}. It stays until somebody clears it."
    if any(abs(cut_s - ends_s) < _SAME_S for cut_s in broken.guard_cuts_s):
        return "The guard refused the command, from raw edges and inputs alone."
    first = "Neither latch nor guard had to act: the logic had no reason to drive."
    if latched_s is not None:
        return f"{first} {latched_s - ends_s:.1f} s later the latch says: {broken.cause}, and it stays."
    return first
