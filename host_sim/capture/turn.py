"""Judges the turn: how many magnets, which of them miss or are weak, and whether that changed on the way.

The capture is judged as a whole, and part by part where `parts.py` would cut it. Where the parts differ, the
ring changed: what is stated then is what the parts say, and never a turn laid over both.
"""

from collections.abc import Callable
from dataclasses import dataclass, replace
from itertools import pairwise
from math import ceil, floor

import numpy as np

from host_sim.capture.findings import SURE, Finding, RingChange
from host_sim.capture.parts import (
    Part,
    Turning,
    gap_distances,
    gaps_in,
    gaps_regular,
    narrow_in,
    parts_of,
    widths_change,
)
from host_sim.capture.pattern import NOTHING, Pattern, find_pattern
from host_sim.capture.pulses import Seen, counted_between, seen_a_turn
from host_sim.capture.ring import Ring, ring_of

PULSES_LEAST, PULSES_MOST = 4, 64
# Gaps and magnets that a turn has more or less than its ring says: a quarter a turn, as noise may do.
GAPS_OFF, GAPS_OFF_A_TURN = 2.0, 0.25
GAPS_LATE = 1.6
MORE_TIMES, MORE_SHARE = 3.0, 0.01
DOUBT = 0.5  # Something contradicts the finding.
UNSURE_NUMBER = 0.7
PITCHES_FOR_NONE = 128
ODD_SHARE_OF_NOISE = 0.01
CAN_NOT_TELL = 0.0


@dataclass(frozen=True)
class Turn:
    """What makes a turn. `changes` in order of time; empty where the ring stays the same."""

    pulses: Finding[int]
    ring: Ring | None
    missing: Finding[list[int]]
    weak: Finding[list[int]]
    changes: list[RingChange]


@dataclass(frozen=True)
class Context:
    """What is known besides: tick of the clock as a share, turns counted, pulses of noise.

    `before`: magnets that passed before the first stretch; `rises` of the capture, forward less backward.
    """

    clock_share: float
    turns: float | None
    noise: int
    before: int
    rises: int


@dataclass(frozen=True)
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
    """Judge the turn of all stretches of the main direction."""
    parts = _joined([_judge(part, context) for part in parts_of(turning)], context)
    return _changed(parts, context) if len(parts) > 1 else _steady(turning, context)


def _pattern(turning: list[Turning], context: Context) -> Pattern:
    return find_pattern([one.angles for one in turning], context.clock_share) if turning else NOTHING


def _ring(turning: list[Turning], seen: Seen, before: int) -> Ring | None:
    angles = [one.angles for one in turning]
    if not seen.magnets or not angles:
        return None
    return ring_of(angles, seen.magnets, all(one.free_of_legs for one in angles), before)


def _steady(turning: list[Turning], context: Context) -> Turn:
    """Judge a ring that stays the same; gaps that its turn does not explain make it doubtful."""
    seen = seen_a_turn(_pattern(turning, context), context.rises, context.turns)
    ring = _ring(turning, seen, context.before)
    off, turns = _gaps_off(turning, ring)
    if off > GAPS_OFF + GAPS_OFF_A_TURN * turns:
        seen = Seen(seen.magnets, min(seen.confidence, DOUBT))
    missing = _missing(ring, seen, turning, context.noise)
    if (
        missing.sure
        and ring is not None
        and seen.confidence >= SURE
        and _late_gap(turning, ring, off, context)
    ):
        missing = Finding(missing.value, UNSURE_NUMBER)
    weak = _weak(ring, seen, turning, context.noise)
    if weak.sure and not weak.value and widths_change(turning, seen.magnets):
        weak = Finding(weak.value, UNSURE_NUMBER)
    return Turn(_pulses(ring, seen), ring, missing, weak, [])


def _gaps_off(turning: list[Turning], ring: Ring | None) -> tuple[float, float]:
    """Return how many gaps the ring does not explain, or wants in vain, and how many turns there are."""
    if ring is None or not ring.magnets:
        return 0.0, 0.0
    turns = sum(len(one.stretch) for one in turning) / len(ring.magnets)
    numbers = np.array([magnet.number for magnet in ring.magnets])
    gaps = int(np.count_nonzero(np.diff(np.append(numbers, numbers[0] + ring.pulses)) > 1))
    return abs(gaps_in(turning) - gaps * turns), turns


def _late_gap(turning: list[Turning], ring: Ring, off: float, context: Context) -> bool:
    """Whether a magnet may have been lost too late, or come back too early, for a part of its own."""
    if ring.missing:
        return off >= GAPS_LATE
    return off >= 1.0 if context.noise == 0 else ring.pulses - 1 in gap_distances(turning)


def _pulses(ring: Ring | None, seen: Seen) -> Finding[int]:
    if ring is None or not PULSES_LEAST <= ring.pulses <= PULSES_MOST:
        return Finding(None, CAN_NOT_TELL)
    return Finding(ring.pulses, seen.confidence)


def _missing(ring: Ring | None, seen: Seen, turning: list[Turning], noise: int) -> Finding[list[int]]:
    """Return the missing magnets, as sure as the turn is; that none is missing shows without a turn."""
    if ring is not None and seen.confidence >= SURE:
        return Finding(ring.missing, min(seen.confidence, 0.97))
    return _none_seen(turning, gaps_in, noise)


def _weak(ring: Ring | None, seen: Seen, turning: list[Turning], noise: int) -> Finding[list[int]]:
    """Return the weak magnets, in the same way."""
    if ring is not None and seen.confidence >= SURE:
        return Finding(ring.weak, 0.6 if ring.doubt else min(seen.confidence, 0.97))
    if turning and not turning[0].angles.free_of_legs:
        return Finding(None, CAN_NOT_TELL)
    return _none_seen(turning, narrow_in, noise)


def _none_seen(
    turning: list[Turning], odd_in: Callable[[list[Turning]], int], noise: int
) -> Finding[list[int]]:
    """Return "none" where many pitches were seen and none was odd but by noise; else it can't be told."""
    pitches = sum(len(one.stretch) for one in turning)
    by_noise = min(noise, ODD_SHARE_OF_NOISE * pitches)
    if pitches < PITCHES_FOR_NONE or odd_in(turning) > by_noise:
        return Finding(None, CAN_NOT_TELL)
    return Finding([], 0.92)


def _judge(part: Part, context: Context) -> _PartTurn:
    seen = seen_a_turn(_pattern(part.turning, context), 0, None)
    ring = _ring(part.turning, seen, 0)
    off, turns = _gaps_off(part.turning, ring)
    if off > GAPS_OFF + GAPS_OFF_A_TURN * turns:
        seen = Seen(seen.magnets, min(seen.confidence, DOUBT))
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
    """Join neighbours that are alike: a cut was only a suspicion."""
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
    return one.free_of_legs and other.free_of_legs and _more(one.narrow_share, other.narrow_share)


def _more(one: float, other: float) -> bool:
    return max(one, other) > MORE_TIMES * min(one, other) + MORE_SHARE


def _changed(parts: list[_PartTurn], context: Context) -> Turn:
    """Put together what the parts of a ring that changed say."""
    rings = [one.ring for one in parts if one.ring is not None and one.sure]
    pulses = _agreed(parts, rings, context)
    rings = [ring for ring in rings if ring.pulses == pulses.value]
    numbered = all(one.part.counted for one in parts) and all(one.sure or not one.gap_share for one in parts)
    lost = [set(ring.missing) for ring in rings]
    # Of two parts one has lost what the other has, and more: else the numbers are off.
    numbered = numbered and all(one <= two or two <= one for one in lost for two in lost)
    confidence = UNSURE_NUMBER if not numbered or context.noise or not pulses.sure else 0.95
    missing: Finding[list[int]] = Finding(None, CAN_NOT_TELL)
    weak = missing
    if rings:
        found = {number for ring in rings for number in ring.missing}
        for one in parts:
            if not one.sure:
                found |= _numbers_by_place(one.part, context.before, rings[0].pulses)
        missing = Finding(sorted(found), confidence)
        all_sure = all(one.sure for one in parts)
        doubt = any(ring.doubt for ring in rings) or not all_sure
        weak = Finding(
            sorted({number for ring in rings for number in ring.weak}), 0.6 if doubt else confidence
        )
    # The worst of its states is the one to be careful with.
    worst = max(rings, key=lambda ring: (len(ring.missing), len(ring.weak)), default=None)
    return Turn(pulses, worst, missing, weak, _changes(parts, confidence >= SURE))


def _numbers_by_place(part: Part, before: int, pulses: int) -> set[int]:
    """Return the magnets that gave no pulse in most turns of a part, which is too short to have a ring."""
    steps = part.turning[0].steps
    places = part.places + before + np.cumsum(steps)[steps == 2] - 1
    numbers, counts = np.unique(places % pulses + 1, return_counts=True)
    turns = int(steps.sum()) / pulses
    return {int(number) for number in numbers[counts > 0.6 * turns]}


def _agreed(parts: list[_PartTurn], rings: list[Ring], context: Context) -> Finding[int]:
    """Return the pulses in which all sure parts, and the turns if they were counted, agree."""
    found = {ring.pulses for ring in rings}
    if len(found) > 1:
        return Finding(None, CAN_NOT_TELL)
    pulses: Finding[int] = Finding(None, CAN_NOT_TELL)
    if found:
        pulses = Finding(found.pop(), max(one.seen.confidence for one in parts))
    else:
        guesses = [(one.seen.confidence, one.ring.pulses) for one in parts if one.ring is not None]
        confidence, guess = max(guesses, default=(CAN_NOT_TELL, 0))
        if PULSES_LEAST <= guess <= PULSES_MOST:
            pulses = Finding(guess, min(confidence, UNSURE_NUMBER))
    if context.turns is None:
        return pulses
    turning = [one for part in parts for one in part.part.turning]
    # Every gap counts as the magnet that gave no pulse: so the count is that of a ring that is whole.
    hidden = sum(int((one.steps - 1).sum()) for one in turning)
    least, most = counted_between(context.rises + hidden, context.turns)
    possible = range(max(ceil(least), PULSES_LEAST), min(floor(most), PULSES_MOST) + 1)
    if pulses.sure and pulses.value is not None:
        return Finding(pulses.value, 0.99 if pulses.value in possible else DOUBT)
    return Finding(possible[0], 0.95) if len(possible) == 1 else pulses


def _changes(parts: list[_PartTurn], numbered: bool) -> list[RingChange]:
    """Return what each part has that the one before has not."""
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
