"""Steps this computer's firmware through a log, and says where it parts from what the board did."""

from collections.abc import Callable
from dataclasses import dataclass, field

from firmware.controller import Controller
from firmware.decide.engagement import STATE_NAMES
from firmware.guard.faults import CAUSE_NAMES
from firmware.records import EdgeLog, Inputs
from firmware.settings import Settings
from firmware.ticks import CONTROL_PERIOD_US, TICKS_MAX_US, ticks_diff_us
from host_sim.boardlink.recorded import Loss, RecordedEdge, RecordedStep
from host_sim.replay.log_file import Section

COMPARED = ("command_mv", "drive_enabled", "indicator", "fault_cause", "state")

Look = Callable[[RecordedStep, Controller, float], None]


class GivenEdges(EdgeLog):
    """A log that gives the edges that the recorded step took, however many there were."""

    __slots__ = ("_given",)

    def __init__(self) -> None:
        """Start empty."""
        EdgeLog.__init__(self)
        self._given: list[RecordedEdge] = []

    def give(self, edges: list[RecordedEdge]) -> None:
        """Have these taken by the next step."""
        self._given = edges[::-1]

    def take(self) -> bool:
        """Move the oldest edge to `levels` and `time_us`; False if there is none."""
        if not self._given:
            return False
        edge = self._given.pop()
        self.levels = edge.levels
        self.time_us = edge.time_us
        return True


@dataclass(frozen=True, slots=True)
class Parting:
    """The first step whose outputs differ: its number, when (seconds into the log), what differs."""

    step: int
    time_s: float
    differences: dict[str, tuple[int, int]]

    def sentence(self) -> str:
        """Return one sentence: here and on the board."""
        told = [
            f"{name} is {_spoken(name, here)} here and was {_spoken(name, there)} on the board"
            for name, (here, there) in self.differences.items()
        ]
        return f"at step {self.step}, {self.time_s:.3f} s into the log: {', '.join(told)}"


@dataclass(slots=True)
class Happened:
    """A fault, or a change of state: when, and its name."""

    step: int
    time_s: float
    name: str


@dataclass(slots=True)
class Replay:
    """What came of one section; `equal` steps agreed before `parting`.

    From step `agrees_from` on to the end both agree; None if they do not at the end. It tells something of a
    log that begins in the middle of a ride, whose first steps can't agree.
    """

    from_start: bool
    steps: int = 0
    seconds: float = 0.0
    equal: int = 0
    different: int = 0
    parting: Parting | None = None
    agrees_from: int | None = None
    loss: Loss | None = None
    faults: list[Happened] = field(default_factory=list)
    board_faults: list[Happened] = field(default_factory=list)


class Replayer:
    """A controller and its inputs, stepped by recorded steps."""

    def __init__(self, settings: Settings, started_us: int) -> None:
        """Switch the controller on at this time."""
        self.controller = Controller(settings, started_us)
        self.inputs = Inputs()
        self._crank = GivenEdges()
        self._wheel = GivenEdges()
        self.inputs.crank = self._crank
        self.inputs.wheel = self._wheel

    def step(self, step: RecordedStep) -> dict[str, tuple[int, int]]:
        """Take the step; return which outputs differ from the board's: here, and there."""
        inputs = self.inputs
        self._crank.give([edge for edge in step.edges if not edge.wheel])
        self._wheel.give([edge for edge in step.edges if edge.wheel])
        self._crank.overruns = step.lost_edges
        inputs.sampled_us = step.sampled_us
        inputs.throttle_mv = step.throttle_mv
        inputs.selector_mv = step.selector_mv
        inputs.battery_mv = step.battery_mv
        inputs.current_ma = step.current_ma
        inputs.motor_decicelsius = step.motor_decicelsius
        inputs.brake_pulled = step.brake_pulled
        inputs.clear_requested = step.clear_requested
        outputs = self.controller.step(inputs, step.now_us)
        here = (
            outputs.command_mv,
            outputs.drive_enabled,
            outputs.indicator,
            outputs.fault_cause,
            self.controller.engagement.state,
        )
        there = (step.command_mv, step.drive_enabled, step.indicator, step.fault_cause, step.state)
        if here == there:
            return {}
        pairs = zip(COMPARED, here, there, strict=True)
        return {name: (int(mine), int(theirs)) for name, mine, theirs in pairs if mine != theirs}


def replay(
    section: Section, settings: Settings, look: Look = lambda step, controller, time_s: None
) -> Replay:
    """Step through a section to its end, or to the first loss. `look` sees each step after it was taken."""
    found = Replay(section.started_us is not None)
    replayer: Replayer | None = None
    last_us, elapsed_us = 0, 0
    causes = (0, 0)
    for item in section.steps():
        if isinstance(item, Loss):
            found.loss = item
            break
        if replayer is None:
            started_us = section.started_us
            if started_us is None:
                started_us = (item.now_us - CONTROL_PERIOD_US) & TICKS_MAX_US
            replayer = Replayer(settings, started_us)
            last_us = started_us
        differences = replayer.step(item)
        elapsed_us += ticks_diff_us(item.now_us, last_us)
        last_us = item.now_us
        found.steps += 1
        found.seconds = elapsed_us / 1e6
        _count(found, item, differences)
        causes = _note_faults(found, item, replayer.controller.outputs.fault_cause, causes)
        look(item, replayer.controller, found.seconds)
    return found


def _count(found: Replay, step: RecordedStep, differences: dict[str, tuple[int, int]]) -> None:
    if not differences:
        found.equal += found.parting is None
        if found.agrees_from is None:
            found.agrees_from = step.number
        return
    found.different += 1
    found.agrees_from = None
    if found.parting is None:
        found.parting = Parting(step.number, found.seconds, differences)


def _note_faults(found: Replay, step: RecordedStep, here: int, before: tuple[int, int]) -> tuple[int, int]:
    if here != before[0] and here:
        found.faults.append(Happened(step.number, found.seconds, CAUSE_NAMES[here]))
    if step.fault_cause != before[1] and step.fault_cause:
        found.board_faults.append(Happened(step.number, found.seconds, _named(CAUSE_NAMES, step.fault_cause)))
    return here, step.fault_cause


def _named(names: tuple[str, ...], value: int) -> str:
    return names[value] if value < len(names) else f"number {value}"


def _spoken(name: str, value: int) -> str:
    if name == "command_mv":
        return f"{value} mV"
    if name == "fault_cause":
        return f'"{_named(CAUSE_NAMES, value)}"'
    if name == "state":
        return f'"{_named(STATE_NAMES, value)}"'
    return str(bool(value)).lower() if name == "drive_enabled" else str(value)
