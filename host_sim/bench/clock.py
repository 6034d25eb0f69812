"""Virtual time: whole microseconds since the start of the ride, and what happens when.

The next event goes first; of two at the same time the one that was put down first. No real clock is
read, so a ride is a function of bike, ride and seed.
"""

from heapq import heappop, heappush

US_PER_S = 1_000_000


class Event:
    """Something that happens to the bench at a certain time."""

    def happen(self) -> None:
        """Do it. The world has been advanced to the time of the event."""
        raise NotImplementedError


class Agenda:
    """Events to come. Read: `now_us`."""

    __slots__ = ("_count", "_heap", "now_us")

    def __init__(self) -> None:
        """Start empty at time 0."""
        self._heap: list[tuple[int, int, Event]] = []
        self._count = 0
        self.now_us = 0

    def put(self, time_us: int, event: Event) -> None:
        """Put down an event; one that lies in the past happens next."""
        self._count += 1
        heappush(self._heap, (max(time_us, self.now_us), self._count, event))

    def next_us(self) -> int:
        """Return when the next event happens; IndexError if none is left."""
        return self._heap[0][0]

    def take(self) -> Event:
        """Take the next event off and move `now_us` to its time; IndexError if none is left."""
        self.now_us, _, event = heappop(self._heap)
        return event
