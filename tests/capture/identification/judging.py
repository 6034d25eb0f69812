"""Compares the findings of one capture with the truth."""

from dataclasses import dataclass
from typing import Any

from host_sim.capture.diagnose import Told, inspect_edges
from host_sim.capture.findings import GUESS, SURE, Finding, Inspection
from tests.capture.identification.grid import Case, first_magnet
from tests.capture.identification.truth import Recorded, record

DUTY_ROOM = 0.03
PHASE_ROOM_DEG = 6.0
STATED_RIGHT, STATED_WRONG, GUESSED_RIGHT, GUESSED_WRONG, CAN_NOT_TELL = range(5)
OUTCOMES = ("stated, right", "stated, wrong", "guessed, right", "guessed, wrong", "can't tell")


@dataclass(frozen=True, slots=True)
class Verdict:
    """The verdict on one finding: its name, its row of the table, and the outcome."""

    finding: str
    row: str
    outcome: int


def judge(case: Case) -> list[Verdict]:
    """Record a case on the bench, inspect it, and judge each finding whose truth is known."""
    recorded = record(case.sensor)
    return verdicts(case, inspect(case, recorded))


def inspect(case: Case, recorded: Recorded) -> Inspection:
    """Inspect a recorded case, given ten seconds of forward pedalling, and perhaps the turns."""
    channels = 2 if case.sensor.kind == "two channels" else 1
    turns = None if case.turns_off is None else recorded.turns + case.turns_off
    forward_s = (5.0, 15.0)
    return inspect_edges(recorded.source, channels, Told(forward_s, turns, channels == 2))


def verdicts(case: Case, found: Inspection) -> list[Verdict]:
    """Judge each finding whose truth is known."""
    sensor = case.sensor
    two = sensor.kind == "two channels" and case.fault != "dead"
    judged = [
        Verdict("kind of sensor", _kind_row(case), _outcome(found.kind, sensor.kind)),
        Verdict("pulses per revolution", _pulses_row(case), _outcome(found.pulses, sensor.pulses)),
    ]
    if two:
        lead = "A" if sensor.a_leads else "B"
        judged.append(Verdict("lead, 10 s told to be forward", "", _outcome(found.lead, lead)))
        near = _near(found.phase_deg, sensor.phase_deg, PHASE_ROOM_DEG)
        judged.append(Verdict("phase within 6°", "", near))
        margin = _margin(case)
        if abs(margin) > 0.02 and case.fault != "weak":
            judged.append(Verdict("A and B overlap, or not", "", _outcome(found.decodable, margin > 0.0)))
        if sensor.backward_s:
            judged.append(Verdict("turned back once", "", _flag(found.reversals_seen == 1, True)))
    for duty in found.duty.values():
        judged.append(Verdict("duty within 3 %", "", _near(duty, sensor.duty_percent / 100.0, DUTY_ROOM)))
    judged += _magnets(case, found)
    judged.append(Verdict("dead channel", "", _flag(bool(found.channels.dead), case.fault == "dead")))
    judged.append(Verdict("bounce", "", _flag(found.bounces, case.fault == "bounce")))
    return judged


def _kind_row(case: Case) -> str:
    if case.sensor.kind == "duty-coded":
        return "duty-coded, turned back" if case.sensor.backward_s else "duty-coded, forward only"
    return case.sensor.kind


def _pulses_row(case: Case) -> str:
    two = case.sensor.kind == "two channels" and case.fault != "dead"
    channels = "two channels" if two else "one channel"
    if case.turns_off is not None:
        return f"{channels}, turns counted"
    if case.fault in ("missing", "weak"):
        return f"{channels}, a magnet {case.fault}"
    even = f"{case.unevenness:.0%} of a pitch" if case.unevenness else "perfectly even"
    return f"{channels}, {even}"


def _margin(case: Case) -> float:
    duty, phase = case.sensor.duty_percent / 100.0, case.sensor.phase_deg / 360.0
    return min(duty - phase, 1.0 - duty - phase)


def _magnets(case: Case, found: Inspection) -> list[Verdict]:
    missing = case.magnet if case.fault == "missing" else 0
    first = first_magnet(case.sensor, missing)
    number = (case.magnet - first) % case.sensor.pulses + 1
    return [
        Verdict(
            "missing magnets",
            "one is" if case.fault == "missing" else "none is",
            _outcome(found.missing, [number] if case.fault == "missing" else []),
        ),
        Verdict(
            "weak magnets",
            "one is" if case.fault == "weak" else "none is",
            _outcome(found.weak, [number] if case.fault == "weak" else []),
        ),
    ]


def _outcome(finding: Finding[Any], truth: object) -> int:
    return _graded(finding, finding.value == truth)


def _near(finding: Finding[float], truth: float, room: float) -> int:
    return _graded(finding, finding.value is not None and abs(finding.value - truth) <= room)


def _graded(finding: Finding[Any], right: bool) -> int:
    if finding.value is None or finding.confidence < GUESS:
        return CAN_NOT_TELL
    if finding.confidence >= SURE:
        return STATED_RIGHT if right else STATED_WRONG
    return GUESSED_RIGHT if right else GUESSED_WRONG


def _flag(said: bool, true: bool) -> int:
    return STATED_RIGHT if said == true else STATED_WRONG
