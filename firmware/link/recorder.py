"""Keeps what every step depended on, and what it came to, in blocks that can be sent as they are.

A replay of the steps needs the time, the readings and the edges of each, nothing else. They are written into
blocks of 251 bytes, a ring of them; each block can be read without the others. A block from byte 0:

    kind 1, zero 1, length 1, steps 1, flags 1, sequence 2, step 4, time_us 4, then items up to `length`

`sequence` counts blocks modulo 65536, `step` the steps since the start modulo 2**30 before the first one in
the block, `time_us` is the time of the step before that (at the start: the time that the controller was built
with). Bit 0 of `flags`: edges of the block's first step stand in the block before. Numbers of fixed size
are little-endian. A number of varying size has 7 bits in a byte, the low ones first, and bit 7 says that more
follow; after two bytes with bit 7 come 16 bits. A change is twice its size, less one if it is negative.
Items:

    edge    levels << 1, and 8 for the wheel; then the time since EDGE_LEAD_US before the last step
    step    1, and a bit for each change that follows: throttle 2, selector 4, battery 8, current 16,
            temperature 32, command 64, state 128; then the time since the last step, then the changes in
            this order. All changes in a block start from 0.
    state   brake pulled 1, clear requested 2, drive enabled 4, indicator << 3, engagement state << 5; the
            fault cause, a byte; edges lost by both logs; the age of the readings in us

The edges of a step stand before it. One that the interrupt handler lost can't be here, but the step sees that
the log counted it, and so does this.
"""

from firmware.controller import Controller
from firmware.link.block_ring import BlockRing
from firmware.records import Inputs
from firmware.ticks import TICKS_MAX_US

BLOCK_KIND = 100
BLOCK_SIZE = 251
HEADER_SIZE = 15
SEQUENCE_AT = 5
EDGE_LEAD_US = 1_024
KEPT_AFTER_A_FAULT = 200  # Steps: 1 s.

STEP = 1
THROTTLE_CHANGED = 2
SELECTOR_CHANGED = 4
BATTERY_CHANGED = 8
CURRENT_CHANGED = 16
TEMPERATURE_CHANGED = 32
COMMAND_CHANGED = 64
STATE_CHANGED = 128
WHEEL_EDGE = 8
CONTINUED = 1

_AN_EDGE_FITS = BLOCK_SIZE - 5  # The most that an edge, and a step, can take.
_A_STEP_FITS = BLOCK_SIZE - 1 - 4 - 6 * 4 - 2 - 2 * 4
_COUNT_MASK = (1 << 30) - 1


class Recorder:
    """Writes the blocks. Read: `ring`, which has them."""

    __slots__ = (
        "_at",
        "_battery_mv",
        "_block",
        "_cause",
        "_command_mv",
        "_controller",
        "_current_ma",
        "_edges_from_us",
        "_edges_open",
        "_freezes_in",
        "_inputs",
        "_last_us",
        "_motor_decicelsius",
        "_selector_mv",
        "_sequence",
        "_state",
        "_state_age_us",
        "_state_lost",
        "_step",
        "_steps_in_block",
        "_throttle_mv",
        "ring",
    )

    def __init__(self, controller: Controller, inputs: Inputs, blocks: list[bytearray], now_us: int) -> None:
        """Start empty, with LEAST_BLOCKS `blocks` or more; `now_us` is the time that the controller got."""
        self._controller = controller
        self._inputs = inputs
        self.ring = BlockRing(blocks)
        self._last_us = now_us
        self._edges_from_us = (now_us - EDGE_LEAD_US) & TICKS_MAX_US
        self._edges_open = False
        self._step = 0
        self._cause = 0
        self._freezes_in = 0
        self._sequence = 0
        self._open(self.ring.writing())

    def _open(self, block: bytearray) -> None:
        """Begin a block; every change in it starts from 0."""
        self._block = block
        block[0] = BLOCK_KIND
        block[1] = 0
        block[4] = CONTINUED if self._edges_open else 0
        block[SEQUENCE_AT] = self._sequence & 0xFF
        block[SEQUENCE_AT + 1] = self._sequence >> 8
        self._put_fixed(7, self._step)
        self._put_fixed(11, self._last_us)
        self._at = HEADER_SIZE
        self._steps_in_block = 0
        self._throttle_mv = 0
        self._selector_mv = 0
        self._battery_mv = 0
        self._current_ma = 0
        self._motor_decicelsius = 0
        self._command_mv = 0
        self._state = 0
        self._state_lost = 0
        self._state_age_us = 0

    def edge(self, levels: int, time_us: int, wheel: bool) -> None:
        """Note an edge that the step in progress has taken from its log."""
        if self._at > _AN_EDGE_FITS:
            self._close()
        self._block[self._at] = levels << 1 | WHEEL_EDGE if wheel else levels << 1
        self._at += 1
        self._put((time_us - self._edges_from_us) & TICKS_MAX_US)
        self._edges_open = True

    def note_step(self, now_us: int) -> None:
        """Note the step that was just taken: its time, what it was given and what it gave."""
        if self._at > _A_STEP_FITS:
            self._close()
        flags_at = self._at
        self._at += 1
        self._put((now_us - self._last_us) & TICKS_MAX_US)
        self._last_us = now_us
        self._edges_from_us = (now_us - EDGE_LEAD_US) & TICKS_MAX_US
        self._edges_open = False
        self._block[flags_at] = STEP | self._put_levers() | self._put_power() | self._put_state(now_us)
        self._step = (self._step + 1) & _COUNT_MASK
        self._steps_in_block += 1
        self._watch_for_a_fault()

    def freeze(self) -> None:
        """Keep what was recorded up to now as it is, and go on recording."""
        if self.ring.frozen == 0:
            self._close()
            self.ring.freeze()

    def _watch_for_a_fault(self) -> None:
        """Freeze the ring a second after a fault."""
        cause = self._controller.outputs.fault_cause
        if cause != 0 and self._cause == 0 and self._freezes_in == 0:
            self._freezes_in = KEPT_AFTER_A_FAULT
        self._cause = cause
        if self._freezes_in > 0:
            self._freezes_in -= 1
            if self._freezes_in == 0:
                self.freeze()

    def _put_levers(self) -> int:
        """Write the changes of both levers; return their bits."""
        inputs = self._inputs
        changed = 0
        if inputs.throttle_mv != self._throttle_mv:
            changed = THROTTLE_CHANGED
            self._put_change(inputs.throttle_mv - self._throttle_mv)
            self._throttle_mv = inputs.throttle_mv
        if inputs.selector_mv != self._selector_mv:
            changed |= SELECTOR_CHANGED
            self._put_change(inputs.selector_mv - self._selector_mv)
            self._selector_mv = inputs.selector_mv
        return changed

    def _put_power(self) -> int:
        """Write the changes of battery, current, temperature and command; return their bits."""
        inputs = self._inputs
        changed = 0
        if inputs.battery_mv != self._battery_mv:
            changed = BATTERY_CHANGED
            self._put_change(inputs.battery_mv - self._battery_mv)
            self._battery_mv = inputs.battery_mv
        if inputs.current_ma != self._current_ma:
            changed |= CURRENT_CHANGED
            self._put_change(inputs.current_ma - self._current_ma)
            self._current_ma = inputs.current_ma
        if inputs.motor_decicelsius != self._motor_decicelsius:
            changed |= TEMPERATURE_CHANGED
            self._put_change(inputs.motor_decicelsius - self._motor_decicelsius)
            self._motor_decicelsius = inputs.motor_decicelsius
        command_mv = self._controller.outputs.command_mv
        if command_mv != self._command_mv:
            changed |= COMMAND_CHANGED
            self._put_change(command_mv - self._command_mv)
            self._command_mv = command_mv
        return changed

    def _put_state(self, now_us: int) -> int:
        """Write all that seldom changes, if any of it did; return its bit."""
        inputs = self._inputs
        outputs = self._controller.outputs
        state = outputs.indicator << 3 | self._controller.engagement.state << 5
        if inputs.brake_pulled:
            state |= 1
        if inputs.clear_requested:
            state |= 2
        if outputs.drive_enabled:
            state |= 4
        state |= outputs.fault_cause << 8
        lost = inputs.crank.overruns + inputs.wheel.overruns
        age_us = (now_us - inputs.sampled_us) & TICKS_MAX_US
        if state == self._state and lost == self._state_lost and age_us == self._state_age_us:
            return 0
        self._state = state
        self._state_lost = lost
        self._state_age_us = age_us
        self._block[self._at] = state & 0xFF
        self._block[self._at + 1] = state >> 8
        self._at += 2
        self._put(lost)
        self._put(age_us)
        return STATE_CHANGED

    def _put_change(self, value: int) -> None:
        self._put(value << 1 if value >= 0 else (-value << 1) - 1)

    def _put(self, value: int) -> None:
        """Write a number of varying size, 0 to 2**30 - 1."""
        block = self._block
        at = self._at
        if value < 0x80:
            block[at] = value
            self._at = at + 1
        elif value < 0x4000:
            block[at] = value & 0x7F | 0x80
            block[at + 1] = value >> 7
            self._at = at + 2
        else:
            block[at] = value & 0x7F | 0x80
            block[at + 1] = value >> 7 & 0x7F | 0x80
            block[at + 2] = value >> 14 & 0xFF
            block[at + 3] = value >> 22
            self._at = at + 4

    def _put_fixed(self, start: int, value: int) -> None:
        block = self._block
        block[start] = value & 0xFF
        block[start + 1] = value >> 8 & 0xFF
        block[start + 2] = value >> 16 & 0xFF
        block[start + 3] = value >> 24

    def _close(self) -> None:
        """Complete the block and go on in the next one."""
        self._block[2] = self._at
        self._block[3] = self._steps_in_block
        self._sequence = (self._sequence + 1) & 0xFFFF
        self._open(self.ring.go_on())
