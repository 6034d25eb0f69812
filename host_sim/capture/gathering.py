"""Reads a capture once, stores as many edges as an analysis needs, and counts the rest.

A long capture has too many edges for the memory. The first EDGES_KEPT, hours of pedalling, are stored; later
ones are only counted.
"""

from collections.abc import Callable, Iterator
from dataclasses import dataclass

import numpy as np

from host_sim.capture.edges import CHANNEL_A, CHANNEL_B, EdgeChunk, Levels, Times

EDGES_KEPT = 600_000  # Over 39 minutes of the busiest ring (64 magnets, four edges each, at 60 rpm); 5.4 MB.

EdgeSource = Callable[[], Iterator[EdgeChunk]]
"""Yields the edges of a capture from its start, each time it is called."""


@dataclass(frozen=True, slots=True)
class Gathered:
    """The edges kept, and what was counted over all of them.

    `times_ns` and `levels` as in EdgeChunk. `edges` is how many there are in all; `changes` (A, B) how often
    each channel changed, and `last_change_ns` when it did so last, 0 if never; `end_ns` is the time of the
    last edge, `kept_end_ns` that of the last one kept.
    """

    times_ns: Times
    levels: Levels
    edges: int
    changes: tuple[int, int]
    last_change_ns: tuple[int, int]
    end_ns: int

    @property
    def whole(self) -> bool:
        """Whether every edge was kept."""
        return self.edges == len(self.times_ns)

    @property
    def kept_end_ns(self) -> int:
        """The time of the last edge that was kept."""
        return int(self.times_ns[-1])

    def chunks(self) -> Iterator[EdgeChunk]:
        """Yield the stored edges as one chunk."""
        yield EdgeChunk(self.times_ns, self.levels)


def gather(source: EdgeSource, most_edges: int = EDGES_KEPT) -> Gathered:
    """Read all edges of `source`, keeping the first `most_edges` (1 or more)."""
    times: list[Times] = []
    levels: list[Levels] = []
    room = most_edges
    edges = 0
    before = -1
    changes = [0, 0]
    last_change_ns = [0, 0]
    end_ns = 0
    for chunk in source():
        if room > 0:
            # Copied: a slice would keep the whole chunk in memory.
            times.append(chunk.times_ns[:room].copy())
            levels.append(chunk.levels[:room].copy())
            room -= len(times[-1])
        edges += len(chunk.times_ns)
        end_ns = int(chunk.times_ns[-1])
        earlier = np.concatenate((chunk.levels[:1] if before < 0 else [before], chunk.levels[:-1]))
        toggled = chunk.levels ^ earlier.astype(np.uint8)
        before = int(chunk.levels[-1])
        for channel, bit in enumerate((CHANNEL_A, CHANNEL_B)):
            places = np.flatnonzero(toggled & bit)
            if len(places):
                changes[channel] += len(places)
                last_change_ns[channel] = int(chunk.times_ns[places[-1]])
    if not times:
        return Gathered(np.zeros(1, np.int64), np.zeros(1, np.uint8), 1, (0, 0), (0, 0), 0)
    return Gathered(
        np.concatenate(times),
        np.concatenate(levels),
        edges,
        (changes[0], changes[1]),
        (last_change_ns[0], last_change_ns[1]),
        end_ns,
    )
