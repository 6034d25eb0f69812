"""Detects frames that the link lost, by their numbers."""

NUMBERS = 256  # A frame's number is modulo this,
FRAMES_PER_S = 20  # so 12.8 s without a frame may hide 256 more lost ones.


class LostFrames:
    """Checks the numbers of the frames. `count`: frames lost so far; `names`: numbers of the last loss.

    After a pause of 12.8 s or more, in which numbers may have wrapped, `names` begins with "at least". A
    pause alone is not a loss: a board whose host does not read sends no frames.
    """

    def __init__(self) -> None:
        """Accept any number first."""
        self.count = 0
        self.names = ""
        self._number: int | None = None
        self._received_s = 0.0

    def take(self, number: int, received_s: float) -> int:
        """Check the next frame's number, 0 to 255; return how many frames are missing before it."""
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
