"""Reads a capture once, stores as many edges as the analysis needs, and counts the rest.

A long capture has too many edges for the memory. The first EDGES_KEPT are stored, usually hours of pedalling;
later ones are only counted.
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
    """The edges that were kept, and counts over all edges.

    `times_ns` and `levels` as in EdgeChunk. `edges` is the number of all edges; `changes` (A, B) how often
    each channel changed; `end_ns` the time of the last edge.
    """

    times_ns: Times
    levels: Levels
    edges: int
    changes: tuple[int, int]
    end_ns: int

    @property
    def whole(self) -> bool:
        """Whether every edge was kept."""
        return self.edges == len(self.times_ns)

    @property
    def kept_end_ns(self) -> int:
        """The time of the last edge that was kept, ns."""
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
            changes[channel] += int(np.count_nonzero(toggled & bit))
    if not times:
        return Gathered(np.zeros(1, np.int64), np.zeros(1, np.uint8), 1, (0, 0), 0)
    return Gathered(np.concatenate(times), np.concatenate(levels), edges, (changes[0], changes[1]), end_ns)
