"""A ring of blocks with one writer and one reader, a part of which can be frozen."""

SPARE_BLOCKS = 6  # Not frozen, so that recording and sending continue.
LEAST_BLOCKS = SPARE_BLOCKS + 2


class BlockRing:
    """The blocks. Read: `lost`, `frozen`.

    `lost` counts, modulo 65536, the blocks that were overwritten before they were read, whether or not
    anybody wanted to read them; `frozen` blocks are kept.
    """

    __slots__ = (
        "_blocks",
        "_complete",
        "_first_frozen",
        "_frozen_waiting",
        "_waiting",
        "_writing",
        "frozen",
        "lost",
    )

    def __init__(self, blocks: list[bytearray]) -> None:
        """Start empty; at least LEAST_BLOCKS `blocks`."""
        self._blocks = blocks
        self._first_frozen = 0
        self._writing = 0
        self._frozen_waiting = 0
        self._waiting = 0
        self._complete = 0
        self.frozen = 0
        self.lost = 0

    def writing(self) -> bytearray:
        """Return the block that is being written."""
        return self._blocks[self._writing]

    def follow(self) -> None:
        """Let the reader start at the block that is being written."""
        self._frozen_waiting = 0
        self._waiting = 0

    def follow_all(self) -> None:
        """Let the reader start at the oldest block that is kept."""
        self._frozen_waiting = self.frozen
        self._waiting = self._complete

    def waiting(self) -> int:
        """Return how many blocks are complete and not read yet."""
        return self._frozen_waiting + self._waiting

    def oldest(self) -> bytearray:
        """Return the oldest waiting block; only while there is one."""
        size = len(self._blocks)
        behind_frozen = self._first_frozen + self.frozen
        if self._frozen_waiting > 0:
            return self._blocks[(behind_frozen - self._frozen_waiting) % size]
        place = (self._writing - behind_frozen) % size - self._waiting
        return self._blocks[(behind_frozen + place % (size - self.frozen)) % size]

    def read(self) -> None:
        """Advance to the next block: the oldest one has been read."""
        if self._frozen_waiting > 0:
            self._frozen_waiting -= 1
        else:
            self._waiting -= 1

    def freeze(self) -> None:
        """Keep the complete blocks except for SPARE_BLOCKS; continue in the others."""
        self.frozen = min(self._complete, len(self._blocks) - SPARE_BLOCKS)
        self._first_frozen = (self._writing - self.frozen) % len(self._blocks)
        self._frozen_waiting = min(self._waiting, self.frozen)
        self.lost = (self.lost + self._waiting - self._frozen_waiting) & 0xFFFF
        self._waiting = 0
        self._complete = 0

    def first_frozen(self) -> bytearray:
        """Return the oldest frozen block."""
        return self._blocks[self._first_frozen]

    def release(self) -> None:
        """Allow the frozen blocks to be overwritten; skip what waits to be read."""
        self.lost = (self.lost + self.waiting()) & 0xFFFF
        self.frozen = 0
        self._complete = 0
        self.follow()

    def go_on(self) -> bytearray:
        """Count the block being written as complete; return the next: the oldest that is not frozen."""
        size = len(self._blocks)
        kept = size - self.frozen - 1  # One of those that are not frozen is being written.
        self._complete = min(self._complete + 1, kept)
        if self._waiting < kept:
            self._waiting += 1
        else:
            self.lost = (self.lost + 1) & 0xFFFF
        following = (self._writing + 1) % size
        if self.frozen > 0 and following == self._first_frozen:
            following = (following + self.frozen) % size
        self._writing = following
        return self._blocks[following]
