"""Judges the turn of a ring that stays the same, and doubts it where its gaps do not fit."""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from host_sim.capture.findings import SURE, Finding, RingChange
from host_sim.capture.parts import Turning, gap_distances, gaps_in, narrow_in, widths_change
from host_sim.capture.pattern import NOTHING, Pattern, find_pattern
from host_sim.capture.pulses import Seen, seen_a_turn
from host_sim.capture.ring import Ring, ring_of

PULSES_LEAST, PULSES_MOST = 4, 64
# Gaps and magnets that a turn has more or less than its ring says: a quarter a turn, as noise may do.
GAPS_OFF, GAPS_OFF_A_TURN = 2.0, 0.25
GAPS_LATE = 1.6
DOUBT = 0.5  # Something contradicts the finding.
UNSURE_NUMBER = 0.7
PITCHES_FOR_NONE = 128
ODD_SHARE_OF_NOISE = 0.01
CAN_NOT_TELL = 0.0


@dataclass(frozen=True, slots=True)
class Turn:
    """The findings about the turn. `changes` in order of time; empty where the ring stays the same."""

    pulses: Finding[int]
    ring: Ring | None
    missing: Finding[list[int]]
    weak: Finding[list[int]]
    changes: list[RingChange]


@dataclass(frozen=True, slots=True)
class Context:
    """Further knowledge: tick of the clock as a share, turns counted, pulses of noise.

    `before`: magnets that passed before the first stretch; `rises` of the capture, forward less backward.
    """

    clock_share: float
    turns: float | None
    noise: int
    before: int
    rises: int


def pattern_in(turning: list[Turning], context: Context) -> Pattern:
    """Return the pattern of these stretches."""
    return find_pattern([one.angles for one in turning], context.clock_share) if turning else NOTHING


def ring_in(turning: list[Turning], seen: Seen, before: int) -> Ring | None:
    """Return their ring, `before` magnets having passed; None if no turn is whole."""
    angles = [one.angles for one in turning]
    if not seen.magnets or not angles:
        return None
    return ring_of(angles, seen.magnets, all(one.free_of_legs for one in angles), before)


def steady_turn(turning: list[Turning], context: Context) -> Turn:
    """Judge a ring that stays the same; gaps that its turn does not explain make it doubtful."""
    seen = seen_a_turn(pattern_in(turning, context), context.rises, context.turns)
    ring = ring_in(turning, seen, context.before)
    off, turns = gaps_off(turning, ring)
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
    if ring is not None and len(turning[0].stretch) < 2 * len(ring.magnets):
        # The first stretch, which says where magnet 1 is, is too short to be laid over the ring.
        missing, weak = (
            Finding(one.value, min(one.confidence, UNSURE_NUMBER)) if one.value else one
            for one in (missing, weak)
        )
    if weak.sure and not weak.value and widths_change(turning, seen.magnets):
        weak = Finding(weak.value, UNSURE_NUMBER)
    return Turn(_pulses(ring, seen), ring, missing, weak, [])


def gaps_off(turning: list[Turning], ring: Ring | None) -> tuple[float, float]:
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
    """Return "none" if many pitches were seen and none was odd except by noise; otherwise unknown."""
    pitches = sum(len(one.stretch) for one in turning)
    by_noise = min(noise, ODD_SHARE_OF_NOISE * pitches)
    if pitches < PITCHES_FOR_NONE or odd_in(turning) > by_noise:
        return Finding(None, CAN_NOT_TELL)
    return Finding([], 0.92)
