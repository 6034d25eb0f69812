"""Detects frames that the link lost, by their numbers."""

NUMBERS = 256  # A frame's number counts modulo 256,
FRAMES_PER_S = 20  # so 12.8 s without a frame could hide 256 more.


class LostFrames:
    """Watches the numbers of the frames that arrive. Read: `count`, and `names` of the last loss.

    After a pause of 12.8 s or more, in which numbers could have wrapped, `names` begins with "at least". A
    pause alone is not a loss: a board whose host does not read sends no frames.
    """

    def __init__(self) -> None:
        """Start with any number."""
        self.count = 0
        self.names = ""
        self._number: int | None = None
        self._received_s = 0.0

    def take(self, number: int, received_s: float) -> int:
        """Check the next frame's number; return how many are missing before it."""
        lost = 0
        if self._number is not None:
            lost = (number - self._number - 1) % NUMBERS
            if lost:
                at_least = (received_s - self._received_s) * FRAMES_PER_S >= NUMBERS
                self.names = ("at least " if at_least else "") + _named((self._number + 1) % NUMBERS, lost)
        self._number = number
        self._received_s = received_s
        self.count += lost
        return lost

    def forget(self) -> None:
        """Accept any number next: the board restarted, or the port was disconnected."""
        self._number = None


def _named(first: int, count: int) -> str:
    return str(first) if count == 1 else f"{first} to {(first + count - 1) % NUMBERS}"
