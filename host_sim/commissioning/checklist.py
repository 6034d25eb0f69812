"""The first-power checklist: items that are ticked from live telemetry; a failed item ends the list.

An item watches frames until it sees what is required, or something forbidden, or its time is over. What
telemetry can't show is asked of the user and recorded as such.
"""

from collections.abc import Callable
from dataclasses import dataclass
from statistics import median

from firmware.ticks import CONTROL_PERIOD_US
from host_sim.bikes.model import Bike
from host_sim.boardlink.frames import Frame
from host_sim.commissioning.live import BoardAtHand
from host_sim.commissioning.readings import BRAKES_MOST, lever_count
from host_sim.commissioning.record import (
    CONFIRMED,
    FAILED,
    NOT_APPLICABLE,
    NOT_REACHED,
    SKIPPED,
    TICKED,
    Entry,
)

PERIOD_OFF = 0.05  # The mean period may be off by this share.
LOOP_S = 3.0
LATCH_S = 2.0  # A fault must stay for this long after its cause is gone.
RESTART_S = 3.0
WAITING = "waiting"


@dataclass(slots=True)
class Checking:
    """What an item may use: the board, the bike, questions to the user, and how long it may wait."""

    board: BoardAtHand
    bike: Bike
    ask: Callable[[str], str]
    say: Callable[[str], None]
    seconds: float


@dataclass(frozen=True, slots=True)
class Item:
    """`look` returns whether it holds and what was seen; with `person` it is the user who says so."""

    name: str
    sentence: str
    look: Callable[[Checking], tuple[bool, str]]
    applies: Callable[[Bike], bool] = lambda bike: True
    person: bool = False


def run_checklist(checking: Checking, skip: tuple[str, ...], now: Callable[[], str]) -> list[Entry]:
    """Go through the list; after the first failed item the rest is not tried."""
    entries: list[Entry] = []
    failed = False
    for item in ITEMS:
        if failed:
            outcome, seen = NOT_REACHED, ""
        elif not item.applies(checking.bike):
            outcome, seen = NOT_APPLICABLE, ""
        elif item.name in skip:
            outcome, seen = SKIPPED, "skipped on request"
        else:
            checking.say(f"{item.name}: {item.sentence}")
            holds, seen = item.look(checking)
            outcome = (CONFIRMED if item.person else TICKED) if holds else FAILED
            failed = not holds
        entries.append(Entry(item.name, item.sentence, outcome, seen, now()))
        named = f"{item.name}: " if outcome in (NOT_REACHED, NOT_APPLICABLE, SKIPPED) else "  "
        checking.say(f"{named}{outcome}{': ' + seen if seen else ''}")
    return entries


def passed(entries: list[Entry]) -> bool:
    """Return whether nothing failed and nothing was skipped."""
    return all(entry.outcome in (TICKED, CONFIRMED, NOT_APPLICABLE) for entry in entries)


def _confirm(question: str) -> Callable[[Checking], tuple[bool, str]]:
    def look(checking: Checking) -> tuple[bool, str]:
        answer = checking.ask(f"{question} (yes, no): ")
        if answer == "yes":
            return True, "the user says yes"
        return False, f'the answer was "{answer[:20]}"'

    return look


def _until(
    checking: Checking,
    seen: Callable[[Frame], bool],
    wanted: str,
    never: Callable[[Frame], str] = lambda frame: "",
) -> tuple[bool, str]:
    """Watch frames until `seen` is true for one; `never` returns why a frame fails the item."""
    for frame in checking.board.frames(checking.seconds):
        wrong = never(frame) or (f"fault: {frame.fault}" if frame.fault != "none" else "")
        if wrong:
            return False, wrong
        if seen(frame):
            return True, _told(frame)
    return False, f"{wanted} was not seen in {checking.seconds:g} s"


def _told(frame: Frame) -> str:
    drive = "driving" if frame.drive_enabled else "not driving"
    return f"{frame.direction} {frame.cadence_rpm} rpm, {frame.state}, {drive}, {frame.command_v:.2f} V"


def _settings(checking: Checking) -> tuple[bool, str]:
    told = checking.board.settings()
    wanted = checking.bike.firmware_settings.as_dict()
    other = [name for name, value in wanted.items() if told.get(name) != value]
    if other:
        return False, f"the board has other settings than the bike file: {', '.join(other[:6])}"
    return _until(checking, lambda frame: frame.settings_valid, "a frame with valid settings")


def _loop(checking: Checking) -> tuple[bool, str]:
    frames = list(checking.board.frames(LOOP_S))
    periods = [frame.period_us for frame in frames if frame.period_us]
    if len(periods) < 5:
        return False, f"only {len(periods)} frames arrived in {LOOP_S:g} s"
    usual_us = median(periods)
    late = (frames[-1].overruns - frames[0].overruns) % 65_536
    longest_ms = max(frame.worst_us for frame in frames) / 1000
    seen = f"a step every {usual_us / 1000:.2f} ms, longest {longest_ms:.1f} ms, {late} late"
    return abs(usual_us - CONTROL_PERIOD_US) <= PERIOD_OFF * CONTROL_PERIOD_US and late == 0, seen


def _forward(checking: Checking) -> tuple[bool, str]:
    return _until(
        checking,
        lambda frame: frame.direction == "forward" and frame.cadence_rpm > 0,
        "forward pedalling",
        lambda frame: "forward turning is seen as backward" if frame.direction == "backward" else "",
    )


def _backward(checking: Checking) -> tuple[bool, str]:
    return _until(
        checking,
        lambda frame: frame.direction == "backward",
        "backward pedalling",
        lambda f: (
            "it drives while pedalled backward" if f.direction == "backward" and f.drive_enabled else ""
        ),
    )


def _drives(checking: Checking) -> tuple[bool, str]:
    return _until(
        checking, lambda frame: frame.drive_enabled and frame.state == "assisting", "help while pedalling"
    )


def _brake(checking: Checking) -> tuple[bool, str]:
    """Wait for drive, then for a pulled brake; from then on nothing may drive."""
    driven = False

    def cut(frame: Frame) -> bool:
        nonlocal driven
        driven = driven or (frame.drive_enabled and not frame.brake_pulled)
        return driven and frame.brake_pulled

    return _until(
        checking,
        cut,
        "a brake pulled while it drove",
        lambda f: "it drives although a brake is pulled" if f.brake_pulled and f.drive_enabled else "",
    )


def _each_brake(checking: Checking) -> tuple[bool, str]:
    """Have each lever pulled alone while the motor is driven: each must end the drive."""
    told = checking.ask("How many brake levers have a switch? ")
    count = lever_count(told)
    if count is None:
        return False, f'the answer was "{told[:20]}", allowed is 1 to {BRAKES_MOST}'
    for lever in range(1, count + 1):
        checking.say(f"  let go of all levers, pedal until the motor turns, then pull only lever {lever}")
        holds, seen = _brake(checking)
        if not holds:
            return False, f"lever {lever}: {seen}"
    return True, "the only lever" if count == 1 else f"{count} levers, each alone"


def _unplugged(checking: Checking) -> tuple[bool, str]:
    """Unplug a lever: a fault must come; plug it in: the fault must stay; clear it: it must go."""
    lever = "throttle" if checking.bike.throttle.fitted else "selector"
    for frame in checking.board.frames(checking.seconds):
        if frame.fault != "none":
            first = frame.fault
            break
    else:
        return False, f"no fault came in {checking.seconds:g} s"
    if not first.startswith(lever):
        return False, f'the fault "{first}" came, expected was one of the {lever}'
    if checking.ask("Plug it in again, then press Enter: "):
        return False, "stopped by the user"
    if any(frame.fault != first or frame.drive_enabled for frame in checking.board.frames(LATCH_S)):
        return False, f'the fault "{first}" did not stay'
    checking.board.clear_fault()
    if not any(frame.fault == "none" for frame in checking.board.frames(LATCH_S)):
        return False, f'the fault "{first}" could not be cleared'
    return True, f'"{first}" came, stayed, and was cleared'


def _restart(checking: Checking) -> tuple[bool, str]:
    """Have the board store its settings and restart: nothing may drive, whatever turns."""
    told = checking.board.settings()
    checking.board.change({"engage_rpm": told["engage_rpm"]})
    states: list[str] = []
    for frame in checking.board.frames(RESTART_S):
        if frame.drive_enabled:
            return False, f"it drives after a restart: {_told(frame)}"
        if not states or states[-1] != frame.state:
            states.append(frame.state)
    return WAITING in states, f"states after the restart: {', '.join(states) or 'none'}; nothing drove"


ITEMS: tuple[Item, ...] = (
    Item(
        "off the ground",
        "The driven wheel is off the ground, hands and cables are clear, a hand is at the battery switch.",
        _confirm("Is the driven wheel off the ground, and is a hand at the battery switch?"),
        person=True,
    ),
    Item("settings", "The board rides with the settings of this bike file, without a fault.", _settings),
    Item("loop time", "A step comes every 5 ms, and none is late.", _loop),
    Item("forward", "Turn the crank slowly forward: it is seen as forward.", _forward),
    Item("help", "Pedal until the motor turns.", _drives),
    Item(
        "brake cuts",
        "Pedal until the motor turns, then pull a brake: the drive ends at once.",
        _brake,
        lambda bike: bike.brakes.switches != "none",
    ),
    Item("backward", "Turn the crank backward: it is seen as backward, and nothing drives.", _backward),
    Item(
        "each brake",
        "Pedal until the motor turns, then pull one lever; repeat with every lever: each ends the drive.",
        _each_brake,
        lambda bike: bike.brakes.switches != "none",
    ),
    Item(
        "fault stays",
        "Unplug the throttle (or else the selector): a fault comes, stays after plugging in, and can be "
        "cleared.",
        _unplugged,
        lambda bike: bike.throttle.fitted or bike.selector.kind != "none",
    ),
    Item(
        "expiry",
        "Hold the board in reset, or switch its supply off: drive enable and command read 0 V on a meter.",
        _confirm("With the board held in reset, do drive enable and command read 0 V on the meter?"),
        person=True,
    ),
    Item("restart", "The board restarts: it waits for controls at rest, and nothing drives.", _restart),
)
ITEM_NAMES = tuple(item.name for item in ITEMS)
