"""Splits the recorder's blocks into steps and edges. The layout is that of `firmware/link/recorder.py`.

`StepReader` turns blocks, in order of arrival, into steps. Steps missing between two blocks become a `Loss`
in their place, so every gap is reported.
"""

import binascii
import struct
from collections.abc import Iterator
from dataclasses import dataclass

from cobs import cobs  # type: ignore[import-untyped]

from firmware.link.items import (
    BATTERY_CHANGED,
    COMMAND_CHANGED,
    CURRENT_CHANGED,
    EDGE_LEAD_US,
    SELECTOR_CHANGED,
    STATE_CHANGED,
    STEP,
    TEMPERATURE_CHANGED,
    THROTTLE_CHANGED,
    WHEEL_EDGE,
)
from firmware.link.writing import BLOCK_KIND, BLOCK_SIZE, CONTINUED, HEADER_SIZE

CLOCK = 2**30  # Times are microseconds modulo this.
COUNT = 2**30
SEQUENCES = 2**16
_HEADER = struct.Struct("<BBBBBHII")
_CRC_SIZE = 2
_CHANGES = (
    THROTTLE_CHANGED,
    SELECTOR_CHANGED,
    BATTERY_CHANGED,
    CURRENT_CHANGED,
    TEMPERATURE_CHANGED,
    COMMAND_CHANGED,
)


class DamagedBlock(Exception):
    """These bytes are not a complete block; the message says why."""


@dataclass(frozen=True, slots=True)
class RecordedEdge:
    """An edge that a step processed: its raw time on the board's clock, and the levels after it."""

    time_us: int
    levels: int
    wheel: bool


@dataclass(frozen=True, slots=True)
class RecordedStep:
    """A step's inputs and results; `number` counts from the board's start.

    `edges` are those that the step processed, crank edges first, in their order. `lost_edges` is how many
    edges the logs have lost until then, `state` the number of the engagement state.
    """

    number: int
    now_us: int
    sampled_us: int
    edges: tuple[RecordedEdge, ...]
    throttle_mv: int
    selector_mv: int
    battery_mv: int
    current_ma: int
    motor_decicelsius: int
    brake_pulled: bool
    clear_requested: bool
    lost_edges: int
    command_mv: int
    drive_enabled: bool
    indicator: int
    fault_cause: int
    state: int


@dataclass(frozen=True, slots=True)
class Loss:
    """Missing steps before the step `before`; `steps` is their number, 0 if unknown."""

    steps: int
    before: int


@dataclass(frozen=True, slots=True)
class Block:
    """A received block. `step` is the number of its first step, `time_us` the time of the step before."""

    sequence: int
    step: int
    steps: int
    time_us: int
    continued: bool
    items: bytes
    payload: bytes


def decode_block(code: bytes) -> Block | None:
    """Return the block with this COBS code (without the zeros around it); None if it is not a block.

    DamagedBlock if its checksum or its content is wrong.
    """
    try:
        content = cobs.decode(code)
    except cobs.DecodeError:
        return None
    if len(content) != BLOCK_SIZE + _CRC_SIZE or content[0] != BLOCK_KIND or content[1] != 0:
        return None
    payload = content[:-_CRC_SIZE]
    if binascii.crc_hqx(payload, 0xFFFF) != int.from_bytes(content[-_CRC_SIZE:], "big"):
        raise DamagedBlock("the CRC is wrong")
    return block_of(payload)


def block_of(payload: bytes) -> Block:
    """Return the block with this content; DamagedBlock if its header can't be right."""
    _, _, length, steps, flags, sequence, step, time_us = _HEADER.unpack_from(payload)
    if not HEADER_SIZE <= length <= len(payload) or flags & ~CONTINUED:
        raise DamagedBlock("its header can't be right")
    return Block(
        sequence, step, steps, time_us, bool(flags & CONTINUED), payload[HEADER_SIZE:length], payload
    )


class StepReader:
    """Returns the steps of consecutive blocks. Read: `lost`, `started_us`.

    `lost` counts steps known to be missing. `started_us` is the time that the controller was built with if
    the board's first block arrived, else None.
    """

    def __init__(self) -> None:
        """Start before any block."""
        self.lost = 0
        self.started_us: int | None = None
        self._sequence: int | None = None
        self._next_step: int | None = None
        self._edges: list[RecordedEdge] = []

    def feed(self, block: Block) -> Iterator[RecordedStep | Loss]:
        """Yield the steps of a block, and first a Loss if blocks are missing before it.

        The very first step is left out if some of its edges are in a block that did not arrive.
        """
        joined = self._sequence is not None and block.sequence == (self._sequence + 1) % SEQUENCES
        if block.sequence == 0 and block.step == 0 and not joined:
            self.started_us = block.time_us
            if self._next_step is not None:  # The board has restarted.
                self._next_step = None
                yield Loss(0, 0)
        self._sequence = block.sequence
        incomplete = block.continued and not joined
        if not joined or not block.continued:
            self._edges = []
        steps = _Items(block, self._edges).steps()
        if incomplete:
            next(steps, None)
        first = (block.step + incomplete) % COUNT
        if self._next_step is not None and (not joined or first != self._next_step):
            lost = (first - self._next_step) % COUNT
            self.lost += lost
            yield Loss(lost, first)
        for step in steps:
            yield step
            self._next_step = (step.number + 1) % COUNT


class _Items:
    """Reads the items of one block; edges that have no step yet stay in `edges`."""

    def __init__(self, block: Block, edges: list[RecordedEdge]) -> None:
        self._block = block
        self._edges = edges
        self._items = block.items
        self._at = 0
        self._last_us = block.time_us
        self._values = [0] * len(_CHANGES)
        self._state = 0
        self._lost_edges = 0
        self._age_us = 0

    def steps(self) -> Iterator[RecordedStep]:
        """Yield all steps; DamagedBlock if the items contradict the header."""
        found = 0
        try:
            while self._at < len(self._items):
                tag = self._byte()
                if not tag & STEP:
                    self._take_edge(tag)
                    continue
                yield self._step(tag, (self._block.step + found) % COUNT)
                found += 1
        except IndexError:
            raise DamagedBlock("its items end too early") from None
        if found != self._block.steps:
            raise DamagedBlock(f"it has {found} steps, but its header says {self._block.steps}")

    def _take_edge(self, tag: int) -> None:
        time_us = (self._number() + self._last_us - EDGE_LEAD_US) % CLOCK
        self._edges.append(RecordedEdge(time_us, tag >> 1 & 3, bool(tag & WHEEL_EDGE)))

    def _step(self, tag: int, number: int) -> RecordedStep:
        self._last_us = (self._last_us + self._number()) % CLOCK
        for place, bit in enumerate(_CHANGES):
            if tag & bit:
                coded = self._number()
                self._values[place] += -(coded + 1 >> 1) if coded & 1 else coded >> 1
        if tag & STATE_CHANGED:
            self._state = self._byte() | self._byte() << 8
            self._lost_edges = self._number()
            self._age_us = self._number()
        throttle_mv, selector_mv, battery_mv, current_ma, motor_decicelsius, command_mv = self._values
        state = self._state
        edges = tuple(self._edges)
        self._edges.clear()
        return RecordedStep(
            number=number,
            now_us=self._last_us,
            sampled_us=(self._last_us - self._age_us) % CLOCK,
            edges=edges,
            throttle_mv=throttle_mv,
            selector_mv=selector_mv,
            battery_mv=battery_mv,
            current_ma=current_ma,
            motor_decicelsius=motor_decicelsius,
            brake_pulled=bool(state & 1),
            clear_requested=bool(state & 2),
            lost_edges=self._lost_edges,
            command_mv=command_mv,
            drive_enabled=bool(state & 4),
            indicator=state >> 3 & 3,
            fault_cause=state >> 8,
            state=state >> 5 & 7,
        )

    def _byte(self) -> int:
        self._at += 1
        return self._items[self._at - 1]

    def _number(self) -> int:
        value = self._byte()
        if value & 0x80:
            second = self._byte()
            value = value & 0x7F | (second & 0x7F) << 7
            if second & 0x80:
                value |= self._byte() << 14
                value |= self._byte() << 22
        return value


def crank_edges(step: RecordedStep) -> tuple[RecordedEdge, ...]:
    """Return the crank edges that a step processed, oldest first."""
    return tuple(edge for edge in step.edges if not edge.wheel)
