"""Evaluates the turn of a ring that does not change; gaps that do not fit it lower the confidence."""

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np

from host_sim.capture.findings import CAN_NOT_TELL, SURE, Finding, RingChange
from host_sim.capture.parts import Turning, gap_distances, gaps_in, narrow_in, widths_change
from host_sim.capture.pattern import NOTHING, Pattern, find_pattern
from host_sim.capture.pulses import Seen, seen_a_turn
from host_sim.capture.ring import PULSES_LEAST, PULSES_MOST, Ring, ring_of

# Gaps more or fewer than the ring explains: noise may cause a quarter per turn.
GAPS_OFF, GAPS_OFF_A_TURN = 2.0, 0.25
GAPS_LATE = 1.6
DOUBT = 0.5  # Something contradicts the finding.
UNSURE_NUMBER = 0.7
PITCHES_FOR_NONE = 128
ODD_SHARE_OF_NOISE = 0.01


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
    """Further information: tick of the clock as a share of the timed interval, turns counted, noise pulses.

    `before`: magnets that passed before the first stretch; `rises` of the capture, forward minus backward.
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
    """Return the ring of these stretches, after `before` magnets; None without a whole turn."""
    angles = [one.angles for one in turning]
    if not seen.magnets or not angles:
        return None
    return ring_of(angles, seen.magnets, all(one.free_of_legs for one in angles), before)


def steady_turn(turning: list[Turning], context: Context) -> Turn:
    """Evaluate a ring that does not change."""
    seen = seen_a_turn(pattern_in(turning, context), context.rises, context.turns)
    ring = ring_in(turning, seen, context.before)
    off, turns = gaps_off(turning, ring)
    seen = doubted(seen, off, turns)
    missing = _missing(ring, seen, turning, context.noise)
    if (
        missing.sure
        and ring is not None
        and seen.confidence >= SURE
        and _late_gap(turning, ring, off, context)
    ):
        missing = missing.at_most(UNSURE_NUMBER)
    weak = _weak(ring, seen, turning, context.noise)
    if weak.sure and not weak.value and widths_change(turning, seen.magnets):
        weak = weak.at_most(UNSURE_NUMBER)
    turn = Turn(_pulses(ring, seen), ring, missing, weak, [])
    # The first stretch determines magnet 1, and a short one can't be compared with the ring.
    short = ring is not None and len(turning[0].stretch) < 2 * len(ring.magnets)
    return numbers_in_doubt(turn) if short else turn


def numbers_in_doubt(turn: Turn) -> Turn:
    """Return the turn with the numbers of missing and weak magnets, if any, no longer certain."""
    missing, weak = (one.at_most(UNSURE_NUMBER) if one.value else one for one in (turn.missing, turn.weak))
    return replace(turn, missing=missing, weak=weak)


def doubted(seen: Seen, off: float, turns: float) -> Seen:
    """Return `seen`, in doubt if there are more unexplained gaps than noise may cause; see `gaps_off`."""
    if off > GAPS_OFF + GAPS_OFF_A_TURN * turns:
        return replace(seen, confidence=min(seen.confidence, DOUBT))
    return seen


def gaps_off(turning: list[Turning], ring: Ring | None) -> tuple[float, float]:
    """Return how many gaps there are more or fewer than the ring explains, and how many turns."""
    if ring is None or not ring.magnets:
        return 0.0, 0.0
    turns = sum(len(one.stretch) for one in turning) / len(ring.magnets)
    numbers = np.array([magnet.number for magnet in ring.magnets])
    gaps = int(np.count_nonzero(np.diff(np.append(numbers, numbers[0] + ring.pulses)) > 1))
    return abs(gaps_in(turning) - gaps * turns), turns


def _late_gap(turning: list[Turning], ring: Ring, off: float, context: Context) -> bool:
    """Whether a magnet may have been lost so late, or come back so early, that no part shows it."""
    if ring.missing:
        return off >= GAPS_LATE
    return off >= 1.0 if context.noise == 0 else ring.pulses - 1 in gap_distances(turning)


def _pulses(ring: Ring | None, seen: Seen) -> Finding[int]:
    if ring is None or not PULSES_LEAST <= ring.pulses <= PULSES_MOST:
        return CAN_NOT_TELL
    return Finding(ring.pulses, seen.confidence)


def _missing(ring: Ring | None, seen: Seen, turning: list[Turning], noise: int) -> Finding[list[int]]:
    """Return the missing magnets, with the confidence of the turn; "none" is possible without a turn."""
    if ring is not None and seen.confidence >= SURE:
        return Finding(ring.missing, min(seen.confidence, 0.97))
    return _none_seen(turning, gaps_in, noise)


def _weak(ring: Ring | None, seen: Seen, turning: list[Turning], noise: int) -> Finding[list[int]]:
    """Return the weak magnets, in the same way."""
    if ring is not None and seen.confidence >= SURE:
        return Finding(ring.weak, 0.6 if ring.doubt else min(seen.confidence, 0.97))
    if turning and not turning[0].angles.free_of_legs:
        return CAN_NOT_TELL
    return _none_seen(turning, narrow_in, noise)


def _none_seen(
    turning: list[Turning], odd_in: Callable[[list[Turning]], int], noise: int
) -> Finding[list[int]]:
    """Return "none" if many pitches were seen and none was odd except by noise; else unknown."""
    pitches = sum(len(one.stretch) for one in turning)
    by_noise = min(noise, ODD_SHARE_OF_NOISE * pitches)
    if pitches < PITCHES_FOR_NONE or odd_in(turning) > by_noise:
        return CAN_NOT_TELL
    return Finding([], 0.92)
