"""Compares the inspection of a case with the truth."""

from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from host_sim.capture.diagnose import Told, inspect_edges
from host_sim.capture.findings import GUESS, SURE, Finding, Inspection
from tests.capture.halls.grid import NOT_FIT, Case
from tests.capture.halls.ring import sweep
from tests.capture.halls.wires import edges_of, first_magnet, source_of

DUTY_WITHIN = 0.03
PHASE_WITHIN_DEG = 6.0
FORWARD_S = (2.0, 8.0)


@dataclass(frozen=True, slots=True)
class Verdict:
    """One finding: its name, the capture's class, if there is a value, its confidence, if it is right."""

    finding: str
    name: str
    given: bool
    confidence: float
    right: bool

    @property
    def stated(self) -> bool:
        """Whether it was stated: with 90 % or more."""
        return self.given and self.confidence >= SURE


def inspect(case: Case) -> Inspection:
    """Record and inspect a case, given six seconds of forward pedalling."""
    chunk, _ = edges_of(case.capture)
    return inspect_edges(lambda: source_of(chunk), case.capture.channels, Told(FORWARD_S))


def verdicts(case: Case, found: Inspection) -> list[Verdict]:
    """Return a verdict on each finding whose truth is known."""
    capture, ring = case.capture, case.capture.ring
    two = capture.channels == 2
    usual = sweep(replace(ring, strengths=({}, {})))
    number = (case.magnet - first_magnet(capture)) % ring.count + 1
    judged = [
        _verdict("kind", case, found.kind, found.kind.value == ("two channels" if two else "one channel")),
        _verdict("pulses", case, found.pulses, found.pulses.value == ring.count),
    ]
    both = two and not capture.dead
    if both:
        if case.name != "no overlap, with stops":
            judged.append(_verdict("lead", case, found.lead, found.lead.value == case.lead))
            judged.append(
                _near("phase within 6°", case, found.phase_deg, 360.0 * ring.phase, PHASE_WITHIN_DEG)
            )
        names = ("B", "A") if capture.b_leads else ("A", "B")
        for name, duty in zip(names, usual.duty, strict=True):
            finding = found.duty.get(name, Finding(None, 0.0))
            judged.append(_near("duty within 3 %", case, finding, duty, DUTY_WITHIN))
        lacks = case.name == "one channel lacks a magnet"
        wanted = [(names[case.channel], number)] if lacks else []
        said = [(one.channel, one.magnet) for one in found.lacking]
        known = not lacks or all(magnet for _, magnet in said)
        judged.append(Verdict("seen by one channel only", case.name, known or not said, 1.0, said == wanted))
    if case.name != "one channel lacks a magnet":
        gone = [number] if case.name in GONE else []
        judged.append(_verdict("missing magnets", case, found.missing, found.missing.value == gone))
    if case.name != "overlap too brief":
        weak = [number] if case.name in ("a magnet weak", "a magnet weak on one channel") else []
        judged.append(_verdict("weak magnets", case, found.weak, found.weak.value == weak))
    lost = case.name == "a magnet lost on the way"
    judged.append(Verdict("the ring changed", case.name, True, 1.0, bool(found.changes) == lost))
    judged.append(Verdict("dead wire", case.name, True, 1.0, bool(found.channels.dead) == bool(capture.dead)))
    bounce = "bounce" in case.name
    judged.append(Verdict("bounce", case.name, True, 1.0, found.bounces == bounce))
    return judged


GONE = ("a magnet missing", "no overlap, with stops", "a magnet lost on the way")


def fit_is_wrong(case: Case, found: Inspection) -> bool:
    """Whether a sensor that must not be used is called fit: this error can hurt somebody."""
    return case.name in NOT_FIT and found.fit


def _verdict(name: str, case: Case, finding: Finding[Any], right: bool) -> Verdict:
    given = finding.value is not None and finding.confidence >= GUESS
    return Verdict(name, case.name, given, finding.confidence, right)


def _near(name: str, case: Case, finding: Finding[float], truth: float, within: float) -> Verdict:
    value = finding.value if finding.value is not None else np.inf
    return _verdict(name, case, finding, abs(value - truth) <= within)
