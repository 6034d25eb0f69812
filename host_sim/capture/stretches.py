"""From clean channels to stretches: uninterrupted turning in one direction, pitch by pitch.

A stretch is found on its leading channel, the one that a magnet reaches first in the direction of travel.
Both pickups see the same magnet, so from a rise of the leading channel to the rise of the other the magnet
moves by a fixed angle: that time gives the crank's speed, wherever the magnet is.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import median_filter

from host_sim.capture.board_count import moves_of
from host_sim.capture.cleaning import CleanChannel, local_pitch_ns
from host_sim.capture.edges import Times
from host_sim.units import NS_PER_S

Floats = NDArray[np.float64]
Signs = NDArray[np.int8]

STANDING_PITCHES = 4.2  # A longer gap is a stop: two adjacent missing magnets make three pitches.
STANDING_NS = 6_000_000_000
LEAST_PITCHES = 3
BACKWARD_IN_A_ROW = 3  # Edges.
SILENT_PITCHES = 6


@dataclass(frozen=True, slots=True)
class Stretch:
    """Consecutive pitches. The arrays have one entry per pitch, NaN if not seen; `rises_s` has one more.

    `direction`: 1 if channel A leads, -1 if B leads, 0 if unknown because there is only one channel.
    `rises_s`: of the leading channel. `high_s`: how long it was high; `transit_s`: from its rise to the
    other's; `fall_transit_s`: from fall to fall; `other_high_s`: how long the other channel was high.
    """

    direction: int
    rises_s: Floats
    high_s: Floats
    other_high_s: Floats
    transit_s: Floats
    fall_transit_s: Floats

    @property
    def pitches_s(self) -> Floats:
        """The time from each rise to the next, s."""
        return np.diff(self.rises_s)

    def piece(self, begin: int, end: int) -> "Stretch":
        """Return the pitches from `begin` up to, not including, `end`."""
        return Stretch(
            self.direction,
            self.rises_s[begin : end + 1],
            self.high_s[begin:end],
            self.other_high_s[begin:end],
            self.transit_s[begin:end],
            self.fall_transit_s[begin:end],
        )

    def __len__(self) -> int:
        return len(self.high_s)


def stretches_of(a: CleanChannel, b: CleanChannel | None) -> list[Stretch]:
    """Return all stretches of at least three pitches, in order of time; `b` None: one channel only."""
    if b is None:
        return [_stretch(0, piece_ns, a, None) for piece_ns in _unbroken(a.rises_ns)]
    found: list[Stretch] = []
    for direction, first_ns, last_ns in travels(a, b):
        leading, trailing = (a, b) if direction > 0 else (b, a)
        rises_ns = leading.rises_ns
        if direction < 0 and not found:
            first_ns = 0  # The first rise of B may come before that of A: it is magnet 1.
        begin = int(np.searchsorted(rises_ns, first_ns))
        end = int(np.searchsorted(rises_ns, last_ns, side="right"))
        for piece_ns in _unbroken(rises_ns[begin:end]):
            found.append(_stretch(direction, piece_ns, leading, trailing))
    return found


def travels(a: CleanChannel, b: CleanChannel) -> list[tuple[int, int, int]]:
    """Return (direction, first rise, last rise), times in ns, of every run of pitches in one direction.

    In a pitch of channel A, channel B rises in the first half if A leads, else in the second.
    """
    rises_ns = a.rises_ns
    if len(rises_ns) < LEAST_PITCHES + 1:
        return []
    share = _place_in_pitch(rises_ns, b.rises_ns)
    known = np.flatnonzero(~np.isnan(share))
    if len(known) == 0:
        return []
    signs = np.where(share[known] < 0.5, 1, -1).astype(np.int8)
    signs = np.asarray(median_filter(signs, 3, mode="nearest"), np.int8)
    # If the other channel was silent for long, the direction in between is unknown.
    turns = np.flatnonzero((np.diff(signs) != 0) | (np.diff(known) > SILENT_PITCHES)) + 1
    runs = np.split(np.arange(len(known)), turns)
    found = [
        (int(signs[run[0]]), int(rises_ns[known[run[0]]]), int(rises_ns[known[run[-1]] + 1])) for run in runs
    ]
    when_ns, moves = moves_of(a, b)
    return [piece for one in found for piece in _without_excursions(one, when_ns, moves)]


def _without_excursions(
    run: tuple[int, int, int], when_ns: Times, moves: Signs
) -> list[tuple[int, int, int]]:
    """Cut out where the crank moved back for some consecutive edges: rocking has no direction.

    A magnet that one channel misses gives a single edge backward; without overlap every second one is.
    """
    direction, begin_ns, end_ns = run
    first, last = np.searchsorted(when_ns, [begin_ns, end_ns])
    back = np.concatenate(([0], (moves[first:last] == -direction).astype(np.int8), [0]))
    starts, ends = np.flatnonzero(np.diff(back) == 1), np.flatnonzero(np.diff(back) == -1)
    long = ends - starts >= BACKWARD_IN_A_ROW
    pieces = []
    for start, end in zip(starts[long].tolist(), ends[long].tolist(), strict=True):
        pieces.append((direction, begin_ns, int(when_ns[first + start])))
        begin_ns = int(when_ns[first + end - 1])
    return [*pieces, (direction, begin_ns, end_ns)]


def _place_in_pitch(rises_ns: Times, others_ns: Times) -> Floats:
    """Return where in each pitch the other channel rises, 0 to 1; NaN unless it rises exactly once."""
    first = np.searchsorted(others_ns, rises_ns[:-1])
    count = np.searchsorted(others_ns, rises_ns[1:]) - first
    share = np.full(len(first), np.nan)
    one = count == 1
    share[one] = (others_ns[first[one]] - rises_ns[:-1][one]) / np.diff(rises_ns)[one]
    return share


def _unbroken(rises_ns: Times) -> list[Times]:
    """Split rises where the crank stood; omit pieces that are too short to evaluate."""
    if len(rises_ns) < LEAST_PITCHES + 1:
        return []
    gaps_ns = np.diff(rises_ns)
    longest_ns = np.minimum(STANDING_PITCHES * local_pitch_ns(rises_ns), STANDING_NS)
    stops = np.flatnonzero(gaps_ns > longest_ns) + 1
    return [piece for piece in np.split(rises_ns, stops) if len(piece) >= LEAST_PITCHES + 1]


def _stretch(
    direction: int, rises_ns: Times, leading: CleanChannel, trailing: CleanChannel | None
) -> Stretch:
    falls_ns = _first_after(rises_ns[:-1], rises_ns[1:], leading.falls_ns)
    nothing = np.full(len(falls_ns), np.nan)
    others = (nothing, nothing, nothing)
    if trailing is not None:
        rise_ns = _first_after(rises_ns[:-1], rises_ns[1:], trailing.rises_ns)
        fall_ns = _first_after(rise_ns, rise_ns + np.diff(rises_ns), trailing.falls_ns)
        fall_transit_ns = fall_ns - falls_ns
        # A fall that belongs to another magnet gives no transit.
        odd = (fall_transit_ns <= 0) | (fall_transit_ns > 0.6 * np.diff(rises_ns))
        fall_transit_ns[odd] = np.nan
        others = (fall_ns - rise_ns, rise_ns - rises_ns[:-1], fall_transit_ns)
    return Stretch(
        direction,
        rises_ns / NS_PER_S,
        (falls_ns - rises_ns[:-1]) / NS_PER_S,
        *(times_ns / NS_PER_S for times_ns in others),
    )


def _first_after(begin_ns: Floats | Times, end_ns: Floats | Times, events_ns: Times) -> Floats:
    """Return the first event in each span from begin to end; NaN if there is none."""
    missing = np.isnan(begin_ns) | np.isnan(end_ns)
    place = np.searchsorted(events_ns, np.where(missing, 0, begin_ns), side="left")
    inside = place < len(events_ns)
    found = np.full(len(begin_ns), np.nan)
    found[inside] = events_ns[place[inside]]
    found[missing | (found > end_ns)] = np.nan
    return found
