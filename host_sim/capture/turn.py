"""Evaluates the turn: the number of magnets, which are missing or weak, and whether that changed.

The capture is evaluated in the parts into which `parts.py` cuts it. If they differ, the ring changed, and the
findings come from the parts, never from turns of both combined; else from the capture as a whole.
"""

from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np

from host_sim.capture.findings import CAN_NOT_TELL, SURE, Finding, RingChange
from host_sim.capture.parts import Part, Turning, gaps_in, gaps_regular, narrow_in, parts_of
from host_sim.capture.pulses import Seen, possible_by_count, seen_a_turn
from host_sim.capture.ring import PULSES_LEAST, PULSES_MOST, Ring
from host_sim.capture.steady_turn import (
    DOUBT,
    UNSURE_NUMBER,
    Context,
    Turn,
    doubted,
    gaps_off,
    pattern_in,
    ring_in,
    steady_turn,
)

MORE_TIMES, MORE_GAPS_TIMES, MORE_SHARE = 3.0, 1.6, 0.01


@dataclass(frozen=True, slots=True)
class _PartTurn:
    part: Part
    seen: Seen
    ring: Ring | None

    @property
    def sure(self) -> bool:
        return (
            self.ring is not None
            and self.seen.confidence >= SURE
            and PULSES_LEAST <= self.ring.pulses <= PULSES_MOST
        )

    @property
    def free_of_legs(self) -> bool:
        return all(one.angles.free_of_legs for one in self.part.turning)

    @property
    def gap_share(self) -> float:
        return gaps_in(self.part.turning) / self._pitches

    @property
    def narrow_share(self) -> float:
        return narrow_in(self.part.turning) / self._pitches

    @property
    def _pitches(self) -> int:
        return max(sum(len(one.stretch) for one in self.part.turning), 1)


def turn_of(turning: list[Turning], context: Context) -> Turn:
    """Evaluate the turn from all stretches of the main direction."""
    parts = _joined([_judge(part, context) for part in parts_of(turning)], context)
    return _changed(parts, context) if len(parts) > 1 else steady_turn(turning, context)


def _judge(part: Part, context: Context) -> _PartTurn:
    seen = seen_a_turn(pattern_in(part.turning, context), 0, None)
    ring = ring_in(part.turning, seen, 0)
    seen = doubted(seen, *gaps_off(part.turning, ring))
    if ring is not None:
        ring = _renumbered(ring, part.places + context.before)
    return _PartTurn(part, seen, ring)


def _renumbered(ring: Ring, by: int) -> Ring:
    """Return the ring with its magnets counted from the first of the capture, not of the part."""

    def number(old: int) -> int:
        return (old - 1 + by) % ring.pulses + 1

    magnets = sorted(
        (replace(magnet, number=number(magnet.number)) for magnet in ring.magnets),
        key=lambda magnet: magnet.number,
    )
    missing, weak = (sorted(number(old) for old in numbers) for numbers in (ring.missing, ring.weak))
    return replace(ring, magnets=magnets, missing=missing, weak=weak)


def _joined(parts: list[_PartTurn], context: Context) -> list[_PartTurn]:
    """Join neighbouring parts that are alike: a cut shows only that the ring may have changed."""
    kept: list[_PartTurn] = []
    for one in parts:
        if kept and not _differ(kept[-1], one):
            before = kept[-1].part
            kept[-1] = _judge(replace(before, turning=[*before.turning, *one.part.turning]), context)
        elif one.part.turning:
            kept.append(one)
    return kept


def _differ(one: _PartTurn, other: _PartTurn) -> bool:
    if one.ring is not None and other.ring is not None and one.sure and other.sure:
        weak = not (one.ring.doubt or other.ring.doubt) and len(one.ring.weak) != len(other.ring.weak)
        return weak or (one.ring.pulses, len(one.ring.missing)) != (
            other.ring.pulses,
            len(other.ring.missing),
        )
    if _more(one.gap_share, other.gap_share):
        more = one if one.gap_share > other.gap_share else other
        return gaps_regular(more.part.turning)
    if not (one.free_of_legs and other.free_of_legs):
        return False
    if min(one.gap_share, other.gap_share) > 0.0 and _more(one.gap_share, other.gap_share, MORE_GAPS_TIMES):
        # One magnet is missing throughout, a second one in one part only.
        return gaps_regular(one.part.turning) and gaps_regular(other.part.turning)
    return _more(one.narrow_share, other.narrow_share)


def _more(one: float, other: float, times: float = MORE_TIMES) -> bool:
    return max(one, other) > times * min(one, other) + MORE_SHARE


def _changed(parts: list[_PartTurn], context: Context) -> Turn:
    """Combine the findings of the parts of a ring that changed."""
    rings = [one.ring for one in parts if one.ring is not None and one.sure]
    pulses = _agreed(parts, rings, context)
    rings = [ring for ring in rings if ring.pulses == pulses.value]
    numbered = all(one.part.counted for one in parts) and all(one.sure or not one.gap_share for one in parts)
    lost = [set(ring.missing) for ring in rings]
    # Of two parts, one must miss all magnets that the other misses; otherwise the numbers contradict.
    numbered = numbered and all(one <= two or two <= one for one in lost for two in lost)
    confidence = UNSURE_NUMBER if not numbered or context.noise or not pulses.sure else 0.95
    missing: Finding[list[int]] = CAN_NOT_TELL
    weak = missing
    if rings:
        found = {number for ring in rings for number in ring.missing}
        for one in parts:
            if not one.sure:
                found |= _numbers_by_place(one.part, context.before, rings[0].pulses)
        missing = Finding(sorted(found), confidence)
        doubt = any(ring.doubt for ring in rings) or not all(one.sure for one in parts)
        weak = Finding(
            sorted({number for ring in rings for number in ring.weak}), 0.6 if doubt else confidence
        )
    # The ring is shown in its worst state.
    worst = max(rings, key=lambda ring: (len(ring.missing), len(ring.weak)), default=None)
    return Turn(pulses, worst, missing, weak, _changes(parts, confidence >= SURE))


def _numbers_by_place(part: Part, before: int, pulses: int) -> set[int]:
    """Return the magnets that gave no pulse in most turns of a part that is too short for a ring."""
    steps = part.turning[0].steps
    places = part.places + before + np.cumsum(steps)[steps == 2] - 1
    numbers, counts = np.unique(places % pulses + 1, return_counts=True)
    turns = int(steps.sum()) / pulses
    return {int(number) for number in numbers[counts > 0.6 * turns]}


def _agreed(parts: list[_PartTurn], rings: list[Ring], context: Context) -> Finding[int]:
    """Return the pulses on which all certain parts agree, and the count of turns if there is one."""
    found = {ring.pulses for ring in rings}
    if len(found) > 1:
        return CAN_NOT_TELL
    pulses: Finding[int] = CAN_NOT_TELL
    if found:
        pulses = Finding(found.pop(), max(one.seen.confidence for one in parts))
    else:
        guesses = [(one.seen.confidence, one.ring.pulses) for one in parts if one.ring is not None]
        confidence, guess = max(guesses, default=(0.0, 0))
        if PULSES_LEAST <= guess <= PULSES_MOST:
            pulses = Finding(guess, min(confidence, UNSURE_NUMBER))
    if context.turns is None:
        return pulses
    turning = [one for part in parts for one in part.part.turning]
    # Every gap counts as the magnet that gave no pulse, so the count is that of a complete ring.
    hidden = sum(int((one.steps - 1).sum()) for one in turning)
    possible = possible_by_count(context.rises + hidden, context.turns, PULSES_LEAST)
    if pulses.sure and pulses.value is not None:
        return Finding(pulses.value, 0.99 if pulses.value in possible else DOUBT)
    return Finding(possible[0], 0.95) if len(possible) == 1 else pulses


def _changes(parts: list[_PartTurn], numbered: bool) -> list[RingChange]:
    """Return each part's changes compared with the part before."""
    changes: list[RingChange] = []
    for one, other in pairwise(parts):
        lost: list[int] = []
        back: list[int] = []
        weak: list[int] = []
        if numbered:
            was, now = (set(part.ring.missing) if part.sure and part.ring else set() for part in (one, other))
            lost, back = sorted(now - was), sorted(was - now)
            if one.sure and other.sure and one.ring and other.ring:
                weak = sorted(set(other.ring.weak) - set(one.ring.weak))
        more = int(np.sign(other.gap_share - one.gap_share)) if one.gap_share or other.gap_share else 0
        changes.append(RingChange(other.part.begin_s, more, lost, back, weak))
    return changes
