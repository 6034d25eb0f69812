"""Which of the channels live: a wire that never changes, one that stopped, two that carry the same."""

import numpy as np

from host_sim.capture.cleaning import CleanChannel
from host_sim.capture.findings import Channels, Finding
from host_sim.capture.stretches import NS_PER_S

PITCHES_SILENT = 8  # The other channel moved on by so many pitches, and this one did not.
SEEN_AT_LEAST = 3
SAME_SHARE = 0.5  # Of all changes of A, so many with B at once, the levels equal or opposite.
AT_ONCE_NS = 2_000


def channels_of(a: CleanChannel, b: CleanChannel, in_file: int, asked_for: bool) -> Channels:
    """Return which channels live. `in_file` channels were read; `asked_for`: the user named them."""
    moves = (len(a.times_ns) >= SEEN_AT_LEAST, len(b.times_ns) >= SEEN_AT_LEAST)
    if in_file == 1:
        if moves[0]:
            return Channels(Finding(1, 0.95), 1)
        return Channels(Finding(1, 0.6), 0, "A", 0.0, a.first_level)
    if not any(moves):
        return Channels(Finding(None, 0.0), 0)
    if _same(a, b):
        return Channels(Finding(2, 0.9), 3, same_signal=True)
    if all(moves):
        dead = _stopped(a, b)
        if dead is None:
            return Channels(Finding(2, 0.99), 3)
        name, silent = dead
        level = int(silent.level_at(silent.times_ns[-1:])[0])
        return Channels(Finding(2, 0.97), 3, name, int(silent.times_ns[-1]) / NS_PER_S, level)
    name, silent = ("A", a) if moves[1] else ("B", b)
    level = int(silent.level_at(silent.times_ns[-1:])[0]) if len(silent.times_ns) else silent.first_level
    # A wire that the user named should carry something; one that came along may be an empty input.
    number = Finding(2, 0.9) if asked_for else Finding(1, 0.6)
    return Channels(number, 1 if moves[0] else 2, name, 0.0, level)


def _same(a: CleanChannel, b: CleanChannel) -> bool:
    """Whether most changes of A come at the same moment as one of B."""
    if len(a.times_ns) < 2 * SEEN_AT_LEAST or len(b.times_ns) < 2 * SEEN_AT_LEAST:
        return False
    place = np.clip(np.searchsorted(b.times_ns, a.times_ns), 1, len(b.times_ns) - 1)
    apart_ns = np.minimum(np.abs(b.times_ns[place] - a.times_ns), np.abs(b.times_ns[place - 1] - a.times_ns))
    return float(np.mean(apart_ns <= AT_ONCE_NS)) > SAME_SHARE


def _stopped(a: CleanChannel, b: CleanChannel) -> tuple[str, CleanChannel] | None:
    """Return the channel that stopped while the other went on."""
    for name, silent, other in (("A", a, b), ("B", b, a)):
        after = np.count_nonzero(other.rises_ns > silent.times_ns[-1])
        if after >= PITCHES_SILENT:
            return name, silent
    return None
