"""Who wants to see edges. Never compiled: a class may derive from it and from a compiled one."""

from typing import Protocol


class EdgeWatch(Protocol):
    """Somebody who wants to see every crank edge, such as a capture or a picture."""

    def edge(self, time_us: int, levels: int) -> None:
        """See an edge: the time since the start of the ride, and the levels after it."""
