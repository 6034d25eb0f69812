"""A port for a serial adapter at 115,200 baud, which has no flow control and always reports free space."""

from boards.services import StandardPort
from boards.startable import StartableBoard
from firmware.ticks import ticks_diff_us

PIECE_US = 5_600  # A piece of 64 bytes, ten bits each, is on the line for 5.56 ms.


class PacedPort(StandardPort):
    """Standard input and output, at most one piece in the time that a piece takes on the line.

    The buffer of the chip (128 bytes on an ESP32) then never fills, and no write waits.
    """

    def __init__(self, board: StartableBoard) -> None:
        """Use the clock of `board`."""
        StandardPort.__init__(self)
        self._board = board
        self._written_us = board.now_us()

    def write(self, unit: bytes | bytearray, start: int, end: int) -> int:
        """Write as any port does, but take nothing as long as the last piece is on the line."""
        now_us = self._board.now_us()
        if 0 <= ticks_diff_us(now_us, self._written_us) < PIECE_US:
            return 0
        self._written_us = now_us
        return StandardPort.write(self, unit, start, end)
