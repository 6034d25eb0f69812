"""Removes noise and bounces from a channel: pulses too short for a magnet are counted and left out.

There are two limits. A pulse under 2.3 ms is not a magnet, unless such pulses are as regular as magnets (many
magnets, narrow pulses, fast pedalling). Nor is a pulse under a twenty-fifth of the pitches around it.
"""

from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import median_filter, uniform_filter1d

from host_sim.capture.edges import Levels, Times

Flags = NDArray[np.bool_]

SHORT_NS = 2_300_000  # 64 magnets at 60 rpm, a fifth of each pitch high, still last 3.1 ms.
# Magnets are never closer than this: 64 of them at 200 rpm are 4.7 ms apart. Bounces are.
REGULAR_GAP_NS = (3_500_000, 60_000_000)
REGULAR_RATIO = 1.6  # Four consecutive gaps this similar: random pulses have that under 2 % of the time.
ALIKE_RATIO = 1.6
GROUP_MOST = 60  # Consecutive changes, each within 2.3 ms of the one before.
SHORT_PITCH_SHARE = 0.04
SHORT_BY_PITCH_MOST_NS = 30_000_000
# If pulses removed as noise fill more than this share of the doubled pitches, they come from a weak magnet.
READMITTED_SHARE = 0.7
BOUNCING_SHARE = 0.3


@dataclass(frozen=True, slots=True)
class CleanChannel:
    """One channel without its noise.

    `times_ns`: when the level changes, ascending; `first_level` (0 or 1) is the level before that.
    `noise_ns`: when pulses too short for a magnet began. `bounces`: whether edges come in bursts.
    """

    times_ns: Times
    first_level: int
    noise_ns: Times
    bounces: bool

    @property
    def rises_ns(self) -> Times:
        """The times of changes to high, ns."""
        return self.times_ns[self.first_level :: 2]

    @property
    def falls_ns(self) -> Times:
        """The times of changes to low, ns."""
        return self.times_ns[1 - self.first_level :: 2]

    def level_at(self, when_ns: Times) -> Levels:
        """Return the level at these times; at a change, the new one."""
        changes = np.searchsorted(self.times_ns, when_ns, side="right")
        return ((changes + self.first_level) & 1).astype(np.uint8)


def clean_channel(times_ns: Times, levels: Levels, bit: int) -> CleanChannel:
    """Return the channel of `bit` (1 for A, 2 for B) of edges as in EdgeChunk."""
    level = ((levels & bit) > 0).astype(np.int8)
    first_level = int(level[0])
    raw_ns = times_ns[1:][level[1:] != level[:-1]]
    short = np.diff(raw_ns) < SHORT_NS
    first, sizes = _groups(short, len(raw_ns))
    alone = first[sizes == 2]
    like_magnets = np.concatenate((_regular(raw_ns, alone), _borderline(raw_ns, alone)))
    short[like_magnets] = False
    kept_ns, noise_ns, bounced = _merge(raw_ns, short, SHORT_NS)
    kept_ns, more_ns = _drop_by_pitch(kept_ns)
    noise_ns = np.sort(np.concatenate((noise_ns, more_ns)))
    kept_ns, noise_ns = _readmit(kept_ns, noise_ns, raw_ns)
    bounces = bounced >= 3 and bounced >= BOUNCING_SHARE * max(len(kept_ns), 1)
    return CleanChannel(kept_ns, first_level, noise_ns, bounces)


def _groups(short: Flags, count: int) -> tuple[NDArray[np.intp], NDArray[np.intp]]:
    """Return the first index and the size of each group of changes with short runs between them."""
    first = np.flatnonzero(np.concatenate(([True], ~short)))
    return first, np.diff(np.append(first, count))


def _merge(changes_ns: Times, short: Flags, limit_ns: float) -> tuple[Times, Times, int]:
    """Remove runs that are too short: thin out each group of changes with short runs between them.

    Return the changes that stay, the times of noise, and how many changes bounced.
    """
    if len(changes_ns) == 0:
        return changes_ns, changes_ns, 0
    first, sizes = _groups(short, len(changes_ns))
    kept = np.zeros(len(changes_ns), np.bool_)
    kept[first[sizes == 1]] = True
    noise_ns = [changes_ns[first[sizes == 2]]]
    bounced = 0
    for begin, size in zip(first[sizes > 2].tolist(), sizes[sizes > 2].tolist(), strict=True):
        if size > GROUP_MOST:
            # Not a bounce but another signal, faster than any magnets: all of it is noise.
            noise_ns.append(changes_ns[begin : begin + size : 2])
            kept[begin] = size % 2 == 1
            continue
        places, dropped = _thin(changes_ns[begin : begin + size].tolist(), limit_ns)
        kept[[begin + place for place in places]] = True
        bounced += len(places) == 1 and len(dropped) > 1
        if len(places) != 1 or len(dropped) == 1:
            noise_ns.append(np.array(dropped, np.int64))
    return changes_ns[kept], np.concatenate(noise_ns), bounced


def _thin(changes_ns: list[int], limit_ns: float) -> tuple[list[int], list[int]]:
    """Remove the shortest run of a group until none is shorter than `limit_ns`.

    Return the places of the changes that stay, and the times of the pulses removed.
    """
    places = list(range(len(changes_ns)))
    dropped: list[int] = []
    while len(places) > 1:
        # In steps of 50 us: of equal bounces the first are removed, so that edges keep their distances.
        runs = [(changes_ns[after] - changes_ns[before]) // 50_000 for before, after in pairwise(places)]
        shortest = min(runs)
        if shortest * 50_000 >= limit_ns:
            break
        place = runs.index(shortest)
        dropped.append(changes_ns[places[place]])
        del places[place : place + 2]
    return places, dropped


def _regular(changes_ns: Times, alone: NDArray[np.intp]) -> NDArray[np.intp]:
    """Return those of the single short runs at `alone` that are as regular as magnets."""
    if len(alone) < 7:
        return alone[:0]
    gaps_ns = np.diff(changes_ns[alone]).astype(np.float64)
    windows = np.lib.stride_tricks.sliding_window_view(gaps_ns, 4)
    low_ns, high_ns = windows.min(axis=1), windows.max(axis=1)
    even = (low_ns >= REGULAR_GAP_NS[0]) & (high_ns <= REGULAR_GAP_NS[1]) & (high_ns < REGULAR_RATIO * low_ns)
    # Window i has pulse i + 2 in its middle; neighbours vote, so that a missing magnet does no harm.
    votes = np.zeros(len(alone))
    votes[2 : 2 + len(even)] = even
    return np.asarray(alone[uniform_filter1d(votes, 9) > 0.45])


def _borderline(changes_ns: Times, alone: NDArray[np.intp]) -> NDArray[np.intp]:
    """Return those at `alone` that are just too short, if their neighbours of the same level are just not."""
    runs_ns = np.diff(changes_ns)
    if len(runs_ns) < 5:
        return alone[:0]
    alone = alone[runs_ns[alone] > SHORT_NS / ALIKE_RATIO]
    # Every second run has the same level.
    beside = np.clip(alone + np.array([[-6], [-4], [-2], [2], [4], [6]]), 0, len(runs_ns) - 1)
    alike = (runs_ns[beside] >= SHORT_NS) & (runs_ns[beside] < ALIKE_RATIO * runs_ns[alone])
    return np.asarray(alone[(alike & ((beside - alone) % 2 == 0)).any(axis=0)])


def local_pitch_ns(rises_ns: Times) -> NDArray[np.float64]:
    """Return the running median of nine times between rises; one entry fewer than `rises_ns`."""
    return np.asarray(median_filter(np.diff(rises_ns).astype(np.float64), 9, mode="nearest"))


def _drop_by_pitch(changes_ns: Times) -> tuple[Times, Times]:
    """Remove pulses that are very short compared with the pitches around them."""
    if len(changes_ns) < 12:
        return changes_ns, changes_ns[:0]
    pitch_ns = local_pitch_ns(changes_ns[::2])
    runs_ns = np.diff(changes_ns)
    around_ns = pitch_ns[np.minimum(np.arange(len(runs_ns)) // 2, len(pitch_ns) - 1)]
    short = runs_ns < np.minimum(SHORT_PITCH_SHARE * around_ns, SHORT_BY_PITCH_MOST_NS)
    # Consecutive short runs are rare, so the lowest limit is enough for thinning them out.
    kept_ns, noise_ns, _ = _merge(changes_ns, short, SHORT_NS)
    return kept_ns, noise_ns


def _readmit(changes_ns: Times, noise_ns: Times, raw_ns: Times) -> tuple[Times, Times]:
    """Restore pulses that come where a magnet is expected, turn after turn: they are a weak magnet's."""
    rises_ns = changes_ns[::2]
    if len(rises_ns) < 12 or len(noise_ns) < 3:
        return changes_ns, noise_ns
    gaps_ns = np.diff(rises_ns)
    double = np.flatnonzero(np.abs(gaps_ns / local_pitch_ns(rises_ns) - 2.0) < 0.5)
    if len(double) < 3:
        return changes_ns, noise_ns
    begin_ns = rises_ns[double] + (0.33 * gaps_ns[double]).astype(np.int64)
    end_ns = rises_ns[double] + (0.78 * gaps_ns[double]).astype(np.int64)
    first = np.searchsorted(noise_ns, begin_ns)
    found = np.searchsorted(noise_ns, end_ns) - first
    if np.count_nonzero(found == 1) < READMITTED_SHARE * len(double):
        return changes_ns, noise_ns
    taken = first[found == 1]
    start_ns = noise_ns[taken]
    after = np.searchsorted(raw_ns, start_ns, side="right")
    ends_ns = raw_ns[np.minimum(after, len(raw_ns) - 1)]
    return np.sort(np.concatenate((changes_ns, start_ns, ends_ns))), np.delete(noise_ns, taken)
