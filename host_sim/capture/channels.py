"""Which channels work: finds a wire that never changes, one that stopped, two with the same signal."""

import numpy as np

from host_sim.capture.cleaning import CleanChannel
from host_sim.capture.edges import Times
from host_sim.capture.findings import CAN_NOT_TELL, Channels, Finding
from host_sim.units import NS_PER_S

PITCHES_SILENT = 8  # A channel has stopped if the other advances by so many pitches without it.
SEEN_AT_LEAST = 3
SAME_SHARE = 0.5  # The signals are the same if more than this share of A's changes coincide with B's.
AT_ONCE_NS = 2_000
RHYTHM = 2.5


def channels_of(a: CleanChannel, b: CleanChannel, in_file: int, one_channel: bool) -> Channels:
    """Return which channels work. `in_file` were read; `one_channel`: the sensor is known to have one."""
    moves = (len(a.times_ns) >= SEEN_AT_LEAST, len(b.times_ns) >= SEEN_AT_LEAST)
    if in_file == 1:
        if moves[0]:
            return Channels(Finding(1, 0.95), 1)
        return Channels(Finding(1, 0.6), 0, "A", dead_level=a.first_level)
    if not any(moves):
        return Channels(CAN_NOT_TELL, 0)
    if _same(a, b):
        return Channels(Finding(2, 0.9), 3, same_signal=True)
    if all(moves):
        return _stopped(a, b) or Channels(Finding(2, 0.99), 3)
    name, silent = ("A", a) if moves[1] else ("B", b)
    level = int(silent.level_at(silent.times_ns[-1:])[0]) if len(silent.times_ns) else silent.first_level
    # If one wire is silent and the other is not, it is broken, unless the sensor is known to have one wire.
    number = Finding(1, 0.95) if one_channel else Finding(2, 0.9)
    return Channels(number, 1 if moves[0] else 2, name, dead_level=level)


def _same(a: CleanChannel, b: CleanChannel) -> bool:
    """Whether most changes of A coincide with one of B."""
    if len(a.times_ns) < 2 * SEEN_AT_LEAST or len(b.times_ns) < 2 * SEEN_AT_LEAST:
        return False
    place = np.clip(np.searchsorted(b.times_ns, a.times_ns), 1, len(b.times_ns) - 1)
    apart_ns = np.minimum(np.abs(b.times_ns[place] - a.times_ns), np.abs(b.times_ns[place - 1] - a.times_ns))
    return float(np.mean(apart_ns <= AT_ONCE_NS)) > SAME_SHARE


def _stopped(a: CleanChannel, b: CleanChannel) -> Channels | None:
    """Return the finding about a channel that stopped while the other continued; None if neither did."""
    for name, silent, other in (("A", a, b), ("B", b, a)):
        # Rises of the other channel between each change and the next, or after the last one.
        passed = np.searchsorted(other.rises_ns, silent.times_ns, side="right")
        moved = np.diff(np.append(passed, len(other.rises_ns)))
        for place in np.flatnonzero(moved >= PITCHES_SILENT).tolist():
            last = place == len(moved) - 1
            if last or _went_on(other.rises_ns, int(passed[place])):
                since_ns, until_ns = silent.times_ns[place], 0 if last else silent.times_ns[place + 1]
                level = int(silent.level_at(silent.times_ns[place : place + 1])[0])
                return Channels(
                    Finding(2, 0.97), 3, name, int(since_ns) / NS_PER_S, int(until_ns) / NS_PER_S, level
                )
    return None


def _went_on(rises_ns: Times, place: int) -> bool:
    """Whether rises continue from `place` on as before, unlike those of a crank that stands and is rocked."""
    before_ns, after_ns = np.diff(rises_ns[max(place - 5, 0) : place]), np.diff(rises_ns[place : place + 5])
    if len(before_ns) < 3:
        return False
    usual_ns = float(np.median(before_ns))
    return bool(np.all((after_ns > usual_ns / RHYTHM) & (after_ns < usual_ns * RHYTHM)))
