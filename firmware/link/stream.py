"""Sends the recorder's blocks to a host that listens, each as one frame.

A frame is made like one of telemetry: a zero, the COBS code of block and CRC-16, a zero; together 256 bytes,
which are four pieces of the port. It is built a little at a time, STUFFED_AT_ONCE bytes of a block per turn.
Without another request it stops by itself after BLOCKS_UNASKED blocks, at least 40 s of riding. It counts
blocks, not time, since a clock may jump.
"""

from firmware.link.block_ring import BlockRing
from firmware.link.payload import CRC_START, PAYLOAD_AT, put_without_zeros, replace_zeros
from firmware.link.telemetry import CRC_TABLE
from firmware.link.writing import BLOCK_SIZE

STREAM_FRAME_SIZE = BLOCK_SIZE + 5  # Two zeros, one byte of code, two of CRC.
STUFFED_AT_ONCE = 32
BLOCKS_UNASKED = 400


class Stream:
    """Makes the frames. Read: `frame`, and `listening` (a host wants them)."""

    __slots__ = (
        "_at",
        "_block",
        "_left",
        "_lost_before",
        "_ring",
        "_state",
        "frame",
        "listening",
    )

    def __init__(self, ring: BlockRing) -> None:
        """Start with nobody listening."""
        self._ring = ring
        self._block = bytearray(0)
        self._at = 0
        self._state = 0
        self._lost_before = 0
        self._left = 0
        self.listening = False
        self.frame = bytearray(STREAM_FRAME_SIZE)

    def listen(self, from_oldest: bool) -> None:
        """Send from now on, or from the oldest block kept; a host that already listens misses nothing."""
        self._left = BLOCKS_UNASKED
        if from_oldest:
            self._ring.follow_all()
            self._at = 0
        elif not self.listening:
            self._ring.follow()
            self._at = 0
        self.listening = True

    def make(self) -> bool:
        """Build a little of the next frame; True if there was something to do."""
        if not self.listening:
            return False
        ring = self._ring
        if self._at > 0 and self._lost_before != ring.lost:
            self._at = 0  # The block may have been overwritten meanwhile.
        if self._at == 0:
            if ring.waiting() == 0:
                return False
            self._begin()
        self._stuff(min(self._at + STUFFED_AT_ONCE, BLOCK_SIZE))
        return True

    def made(self) -> bool:
        """Return whether the frame has just been completed; then its block counts as read."""
        if self._at < BLOCK_SIZE:
            return False
        crc = self._state >> 9
        end = BLOCK_SIZE + PAYLOAD_AT
        self.frame[end] = crc >> 8
        self.frame[end + 1] = crc & 0xFF
        replace_zeros(self.frame, end, end + 2, self._state)
        self._at = 0
        self._ring.read()
        self._left -= 1
        self.listening = self._left > 0
        return True

    def _begin(self) -> None:
        self._block = self._ring.oldest()
        self._lost_before = self._ring.lost
        self._state = CRC_START << 9 | PAYLOAD_AT - 1

    def _stuff(self, end: int) -> None:
        """Put the block up to `end` into the frame, and into the check sum."""
        self._state = put_without_zeros(CRC_TABLE, self._block, self.frame, self._at, end, self._state)
        self._at = end
