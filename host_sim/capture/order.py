"""Finds magnets that only one channel sees, and whether A and B overlap long enough at every magnet.

The board determines the direction from the order of the four edges in a pitch. If only one channel sees a
magnet, or two edges are too close, it counts backward or refuses edges, although each channel looks correct.
"""

from dataclasses import dataclass

import numpy as np

from firmware.sense.crank import CADENCE_MAX_RPM
from host_sim.capture.board_count import moves_of
from host_sim.capture.cleaning import CleanChannel
from host_sim.capture.edges import Times
from host_sim.capture.parts import Turning
from host_sim.capture.ring import PULSES_MOST, Ring, known_median
from host_sim.capture.stretches import Floats
from host_sim.units import NS_PER_S

# firmware/sense/crank.py refuses levels that last less than this fraction (1 / 16) of the shortest pitch.
GLITCH_SHARE = 16
QUICK_LEGS_RPM = 120.0  # Few riders who want help pedal faster. Common practice, no source.
EVERY_TURN = 0.5  # A fault in more than this share of the turns is the magnet's, not noise.
ODD_LEAST = 3


@dataclass(frozen=True, slots=True)
class Lacking:
    """A magnet that `channel` ("A" or "B") does not see, but the other does; `magnet` 0: unknown which."""

    channel: str
    magnet: int


@dataclass(frozen=True, slots=True)
class Overlap:
    """The shortest distance between two edges at the worst magnet, a share of a pitch; below 0: out of order.

    `magnet` 0: unknown which. `shares`: that of each magnet, in the order of the ring; empty without a ring.
    """

    share: float
    magnet: int
    shares: list[float]

    @property
    def highest_rpm(self) -> float:
        """The highest cadence (rpm) at which the board accepts every edge."""
        return max(self.share, 0.0) * GLITCH_SHARE * CADENCE_MAX_RPM


def lacking_in(
    turning: list[Turning], trailing_ns: Times, names: tuple[str, str], ring: Ring | None, before: int
) -> list[Lacking]:
    """Return the magnets that only one channel sees in most turns.

    `trailing_ns`: rises of the trailing channel; `names`: of the leading and the trailing channel.
    """
    counts = [_rises_within(one.stretch.rises_s, trailing_ns) for one in turning]
    if not counts:
        return []
    seen = len(ring.magnets) if ring is not None else 0
    # A pitch with two rises of the other channel contains a magnet that the leading channel misses.
    odd = [(count == 0, count >= 2) for count in counts]
    found: list[Lacking] = []
    for kind, name in enumerate((names[1], names[0])):
        flags = [one[kind] for one in odd]
        total = sum(int(one.sum()) for one in flags)
        pitches = sum(len(one) for one in flags)
        if total < ODD_LEAST:
            continue
        places = _places_every_turn(flags, seen) if seen else []
        if ring is not None and places:
            found += [Lacking(name, _number(ring, place + before, kind)) for place in places]
        elif total >= max(ODD_LEAST, pitches / PULSES_MOST) and (not seen or total * seen > 0.8 * pitches):
            found.append(Lacking(name, 0))
    return found


def _rises_within(rises_s: Floats, trailing_ns: Times) -> np.ndarray:
    rises = trailing_ns / NS_PER_S
    return np.diff(np.searchsorted(rises, rises_s))


def _places_every_turn(flags: list[np.ndarray], seen: int) -> list[int]:
    """Return the places that are odd in most turns of the first stretch, if that has two turns."""
    for one in flags:
        turns = len(one) // seen
        if turns >= 2:
            share = one[: turns * seen].reshape(turns, seen).mean(axis=0)
            return [int(place) for place in np.flatnonzero(share > EVERY_TURN)] if one is flags[0] else []
    return []


def _number(ring: Ring, place: int, kind: int) -> int:
    """Return the number of the magnet at a place; for a gap of the leading channel, the one after it."""
    number = ring.magnets[place % len(ring.magnets)].number
    return number % ring.pulses + 1 if kind == 1 else number


def overlap_in(turning: list[Turning], ring: Ring | None, before: int) -> Overlap | None:
    """Return the worst overlap in the main direction; None if hardly any pitch shows all four edges."""
    shares = [_shares(one) for one in turning]
    whole = np.concatenate(shares) if shares else np.zeros(0)
    known = whole[~np.isnan(whole)]
    if len(known) < 4:
        return None
    seen = len(ring.magnets) if ring is not None else 0
    turns = len(shares[0]) // seen if seen else 0
    if ring is None or turns < 3:
        # Without a turn: the lowest twentieth of the pitches is below this value.
        return Overlap(float(np.quantile(known, 0.05)), 0, [])
    block = shares[0][: turns * seen].reshape(turns, seen)
    usual = [known_median(column) for column in block.T]
    turned = np.roll(np.array(usual), before % seen)
    worst = int(np.nanargmin(turned))
    return Overlap(float(turned[worst]), ring.magnets[worst].number, [round(float(v), 4) for v in turned])


def _shares(one: Turning) -> Floats:
    """Return the shortest time between two neighbouring edges in each pitch, as a share of the pitch."""
    stretch = one.stretch
    pitch_s = stretch.pitches_s / np.maximum(one.steps, 1)
    gaps = (
        stretch.transit_s,
        stretch.high_s - stretch.transit_s,
        stretch.transit_s + stretch.other_high_s - stretch.high_s,
        pitch_s - stretch.transit_s - stretch.other_high_s,
    )
    return np.asarray(np.min(np.array(gaps), axis=0) / pitch_s)


def odd_edges_in(turning: list[Turning], a: CleanChannel, b: CleanChannel, pulses: int | None) -> float:
    """Return how many edges a turn the published table counts backward or refuses during forward turning.

    From cleaned levels and within stretches only, so that noise, stops and reversals do not count. If the
    pulses per turn are unknown, the largest number is assumed: the rate is then an upper bound.
    """
    if not turning:
        return 0.0
    when_ns, moves = moves_of(a, b)
    odd = pitches = 0
    for one in turning:
        begin, end = (
            int(np.searchsorted(when_ns, round(at * NS_PER_S))) for at in one.stretch.rises_s[[1, -2]]
        )
        passed = moves[begin:end]
        odd += int(np.count_nonzero((passed != one.stretch.direction) & (passed != 0)))
        pitches += max(len(one.stretch) - 2, 0)
    if odd < ODD_LEAST:
        return 0.0
    return odd * (pulses or PULSES_MOST) / max(pitches, 1)
