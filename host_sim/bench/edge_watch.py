"""The interface of edge observers. Never compiled, so a class may derive from it and from a compiled one."""

from typing import Protocol


class EdgeWatch(Protocol):
    """An observer of every crank edge, such as a capture or a picture."""

    def edge(self, time_us: int, levels: int) -> None:
        """Handle an edge: the time since the start of the ride, and the levels after it."""
