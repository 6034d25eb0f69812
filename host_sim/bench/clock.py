"""Virtual time: whole microseconds since the start of the ride, and the scheduled events.

Events run in time order; of two at the same time the one scheduled first. No real clock is
read, so a ride depends only on bike, ride and seed.
"""

from heapq import heappop, heappush

from firmware.ticks import CONTROL_PERIOD_US

US_PER_S = 1_000_000
CONTROL_PERIOD_S = CONTROL_PERIOD_US / US_PER_S
NEVER_US = 1 << 62


class Event:
    """A scheduled event of the bench."""

    def happen(self) -> None:
        """Run the event. The world has been advanced to its time."""
        raise NotImplementedError


class Agenda:
    """Future events. Read: `now_us`, and for the next event `first_us` and `first_number`.

    Numbers follow the order of scheduling. Without events `first_us` is NEVER_US.
    """

    __slots__ = ("_count", "_heap", "first_number", "first_us", "now_us")

    def __init__(self) -> None:
        """Start empty at time 0."""
        self._heap: list[tuple[int, int, Event]] = []
        self._count = 0
        self.now_us = 0
        self.first_us = NEVER_US
        self.first_number = 0

    def number(self) -> int:
        """Return the number for an event that is scheduled now but stored elsewhere."""
        self._count += 1
        return self._count

    def put(self, time_us: int, event: Event) -> None:
        """Schedule an event; one in the past runs next."""
        heappush(self._heap, (max(time_us, self.now_us), self.number(), event))
        self._look()

    def take(self) -> Event:
        """Remove the next event and move `now_us` to its time; IndexError if none is left."""
        self.now_us, _, event = heappop(self._heap)
        self._look()
        return event

    def _look(self) -> None:
        """Store which event is next, since this is read in every control period."""
        if self._heap:
            self.first_us, self.first_number, _ = self._heap[0]
        else:
            self.first_us = NEVER_US
