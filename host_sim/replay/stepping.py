"""Runs this computer's firmware through a log, and reports the first difference from the board."""

from collections.abc import Callable
from dataclasses import dataclass, field
from itertools import islice, takewhile

from firmware.controller import Controller
from firmware.decide.engagement import STATE_NAMES
from firmware.guard.faults import CAUSE_NAMES
from firmware.settings import Settings
from firmware.ticks import CONTROL_PERIOD_US, TICKS_MAX_US, ticks_diff_us
from host_sim.boardlink.recorded import Loss, RecordedStep
from host_sim.replay.log_file import Section
from host_sim.replay.replayer import Differences, Replayer
from host_sim.replay.resuming import LOOKED_AHEAD, resumed_at

Look = Callable[[RecordedStep, Controller, float], None]


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
    """A fault: the step and the time (s into the log) at which it came, and its name."""

    step: int
    time_s: float
    name: str


@dataclass(slots=True)
class Replay:
    """The result of one section; `equal` steps agreed before `parting`.

    From step `agrees_from` on to the end both agree; None if they do not at the end. Where a log begins in
    the middle of a ride, `put_right` steps before that differed only because the state at its beginning had
    to be reconstructed (see `resuming`): they are not a `parting`.
    """

    from_start: bool
    steps: int = 0
    seconds: float = 0.0
    equal: int = 0
    different: int = 0
    put_right: int = 0
    parting: Parting | None = None
    agrees_from: int | None = None
    loss: Loss | None = None
    faults: list[Happened] = field(default_factory=list)
    board_faults: list[Happened] = field(default_factory=list)


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
            replayer = _replayer(section, settings)
            last_us = section.started_us or (item.now_us - CONTROL_PERIOD_US) & TICKS_MAX_US
        differences = replayer.step(item)
        elapsed_us += ticks_diff_us(item.now_us, last_us)
        last_us = item.now_us
        found.steps += 1
        found.seconds = elapsed_us / 1e6
        _count(found, item, differences, replayer.put_right)
        causes = _note_faults(found, item, replayer.controller.outputs.fault_cause, causes)
        look(item, replayer.controller, found.seconds)
    return found


def _replayer(section: Section, settings: Settings) -> Replayer:
    """Return a controller that has just been switched on, or one that resumes the ride in its middle."""
    if section.started_us is not None:
        return Replayer(settings, section.started_us)
    ahead = takewhile(lambda item: not isinstance(item, Loss), islice(section.steps(), LOOKED_AHEAD))
    steps = [item for item in ahead if isinstance(item, RecordedStep)]
    same_settings = settings.as_dict() == Settings(section.settings).as_dict()
    return resumed_at(settings, steps, same_settings)


def _count(found: Replay, step: RecordedStep, differences: Differences, put_right: bool) -> None:
    if not differences:
        found.equal += found.parting is None
        if found.agrees_from is None:
            found.agrees_from = step.number
        return
    found.different += 1
    found.put_right += put_right
    found.agrees_from = None
    if found.parting is None and not put_right:
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
