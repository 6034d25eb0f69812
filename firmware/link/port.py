"""The byte stream to a host, as the firmware sees it."""

PIECE_SIZE = 64  # Bytes offered to a port at a time. A frame is one piece; a line of text is whole pieces.


class Port:
    """A serial port, or standard input and output. A board has one with these two methods.

    Neither may wait. A port whose buffer holds whole pieces takes a piece at once or not at all.
    """

    def read(self, into: bytearray, start: int, end: int) -> int:
        """Read what has arrived into `into`, from `start` up to, not including, `end`.

        Stop after the end of a line. Return the number of bytes, or -1 if the other side has closed.
        """
        raise NotImplementedError

    def write(self, unit: bytes | bytearray, start: int, end: int) -> int:
        """Write from `unit`, from `start` up to, not including, `end`; return the number of bytes taken."""
        raise NotImplementedError
