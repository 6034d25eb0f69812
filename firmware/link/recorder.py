"""Records the inputs and the result of every step in blocks that can be sent unchanged.

A replay needs only the time, the readings and the edges of each step. They are written into a ring of
blocks of 251 bytes; each block can be read without the others. A block from byte 0:

    kind 1, zero 1, length 1, steps 1, flags 1, sequence 2, step 4, time_us 4, then items up to `length`

`sequence` counts blocks modulo 65536, `step` the steps since the start modulo 2**30 before the first one in
the block, `time_us` is the time of the step before that (at the start: the time that the controller was built
with). Bit 0 of `flags`: edges of the block's first step are in the block before. Numbers of fixed size
are little-endian. A number of varying size has 7 bits in a byte, the low ones first, and bit 7 says that more
follow; after two bytes with bit 7 come 16 bits. A change is twice its size, less one if it is negative.
Items:

    edge    levels << 1, and 8 for the wheel; then the time since EDGE_LEAD_US before the last step
    step    1, and a bit for each change that follows: throttle 2, selector 4, battery 8, current 16,
            temperature 32, command 64, state 128; then the time since the last step, then the changes in
            this order. All changes in a block start from 0.
    state   brake pulled 1, clear requested 2, drive enabled 4, indicator << 3, engagement state << 5; the
            fault cause, a byte; edges lost by both logs; the age of the readings in us

The edges of a step come before it. An edge that the interrupt handler lost is missing here, but the step sees
the count of lost edges, and so does this record.
"""

from firmware.controller import Controller
from firmware.link.block_ring import BlockRing
from firmware.link.items import (
    NO_PLACE,
    STEP_SIZE,
    WHEEL_EDGE,
    begin_apart,
    join,
    put_edge,
    put_step,
)
from firmware.link.writing import Writing, close_block, open_block
from firmware.records import Inputs

KEPT_AFTER_A_FAULT = 200  # Steps: 1 s.


class Recorder:
    """Writes the blocks. Read: `ring`, which has them."""

    __slots__ = ("_apart", "_block", "_cause", "_controller", "_freezes_in", "_inputs", "_writing", "ring")

    def __init__(self, controller: Controller, inputs: Inputs, blocks: list[bytearray], now_us: int) -> None:
        """Start empty, with LEAST_BLOCKS `blocks` or more; `now_us` is the time that the controller got."""
        self._controller = controller
        self._inputs = inputs
        self.ring = BlockRing(blocks)
        self._writing = Writing(now_us)
        self._block = self.ring.writing()
        self._apart = bytearray(STEP_SIZE)
        self._cause = 0
        self._freezes_in = 0
        open_block(self._block, self._writing)

    def edge(self, levels: int, time_us: int, wheel: bool) -> None:
        """Record an edge that the step in progress has taken from its log."""
        tag = levels << 1 | WHEEL_EDGE if wheel else levels << 1
        if put_edge(self._block, self._writing, tag, time_us) == NO_PLACE:
            self._close()
            put_edge(self._block, self._writing, tag, time_us)

    def note_step(self, now_us: int) -> None:
        """Record the step just taken: its time, its inputs and its outputs."""
        cause = put_step(self._block, self._writing, self._controller, self._inputs, now_us)
        if cause == NO_PLACE:
            cause = self._note_at_the_end(now_us)
        if cause != self._cause or self._freezes_in > 0:
            self._watch_for_a_fault(cause)

    def _note_at_the_end(self, now_us: int) -> int:
        """Record a step in the rest of the block, or in the next one."""
        if begin_apart(self._writing) != NO_PLACE:
            cause = put_step(self._apart, self._writing, self._controller, self._inputs, now_us)
            if join(self._block, self._apart, self._writing) != NO_PLACE:
                return cause
        self._close()
        return put_step(self._block, self._writing, self._controller, self._inputs, now_us)

    def freeze(self) -> None:
        """Keep what was recorded up to now, and go on recording."""
        if self.ring.frozen == 0:
            self._close()
            self.ring.freeze()

    def _watch_for_a_fault(self, cause: int) -> None:
        """Freeze the ring a second after a fault."""
        if cause != 0 and self._cause == 0 and self._freezes_in == 0:
            self._freezes_in = KEPT_AFTER_A_FAULT
        self._cause = cause
        if self._freezes_in > 0:
            self._freezes_in -= 1
            if self._freezes_in == 0:
                self.freeze()

    def _close(self) -> None:
        """Complete the block and go on in the next one."""
        close_block(self._block, self._writing)
        self._block = self.ring.go_on()
        open_block(self._block, self._writing)
