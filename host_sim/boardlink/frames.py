"""Splits the bytes from a board into telemetry frames and lines of text.

The layout is that of `firmware/link/telemetry.py`. COBS is from the package `cobs`, the CRC is the standard
library's `binascii.crc_hqx`, so that both ends don't share a mistake.
"""

import binascii
import struct
from collections.abc import Callable
from dataclasses import dataclass

from cobs import cobs  # type: ignore[import-untyped]

from firmware.decide.engagement import STATE_NAMES
from firmware.guard.faults import CAUSE_NAMES
from firmware.link.payload import (
    BRAKE_PULLED,
    DRIVE_ENABLED,
    FRAME_KIND,
    RESTING,
    SETTINGS_VALID,
    THROTTLE_REST_SEEN,
)
from firmware.link.telemetry import FRAME_SIZE, SAMPLES
from host_sim.boardlink.recorded import Block, DamagedBlock, decode_block
from host_sim.boardlink.targets import FORM_NAMES

DIRECTION_NAMES = ("standing", "forward", "backward")
_LAYOUT = struct.Struct("<BBIHHHHBBBBBHIHHHBHBHHHHHHHBHBHHh")
_CODE_SIZE = FRAME_SIZE - 2
_CRC_SIZE = 2
_LEAST_PAYLOAD = 58  # Of kind 1.
_TEXT_MAX = 100_000  # A longer piece without an end of line is not text.


class DamagedFrame(Exception):
    """A piece between two zeros is not a telemetry frame; the message says why."""


class OtherKind(Exception):
    """A complete frame of a kind that this program can't read. Read: `kind`."""

    def __init__(self, kind: int) -> None:
        """Name both kinds in the message."""
        super().__init__(f"the kind of frame is {kind}, known is {FRAME_KIND}")
        self.kind = kind


@dataclass(frozen=True, slots=True)
class Frame:
    """One telemetry frame. Counts are modulo 65536, `number` modulo 256, `time_us` modulo 2**30.

    `period_us` is the mean time from step to step since the frame before, 0 if the board does not know it;
    `worst_us` is the longest step in between, from reading the inputs to the next reading.
    `level_samples` are the levels (bit 0 channel A, bit 1 channel B) at the last 12 steps, oldest first.
    """

    number: int
    time_us: int
    steps: int
    period_us: int
    worst_us: int
    overruns: int
    form: str
    state: str
    fault: str
    brake_pulled: bool
    drive_enabled: bool
    settings_valid: bool
    resting: bool
    throttle_rest_seen: bool
    direction: str
    cadence_rpm: int
    pitch_s: float
    edges: int
    rejected: int
    edges_lost: int
    levels: int
    level_samples: tuple[int, ...]
    speed_m_per_s: float
    share: float
    wanted_w: int
    ceiling_w: int
    power_w: int
    command_v: float
    battery_v: float
    current_a: float
    throttle_v: float
    selector_v: float
    motor_celsius: float


def decode(code: bytes) -> Frame:
    """Return the frame with this COBS code (without the zeros around it).

    DamagedFrame if it is not a frame, OtherKind if this program can't read its kind.
    """
    try:
        content = cobs.decode(code)
    except cobs.DecodeError as error:
        raise DamagedFrame("it is not COBS code") from error
    payload = content[:-_CRC_SIZE]
    if not payload or binascii.crc_hqx(payload, 0xFFFF) != int.from_bytes(content[-_CRC_SIZE:], "big"):
        raise DamagedFrame("the CRC is wrong")
    if payload[0] == FRAME_KIND and len(payload) == _LAYOUT.size:
        return _frame(payload)
    # A short piece may have a right CRC by chance; no kind of frame was ever shorter than the first.
    if payload[0] == FRAME_KIND or len(payload) < _LEAST_PAYLOAD:
        raise DamagedFrame(f"a frame has {_LAYOUT.size + _CRC_SIZE} bytes, these are {len(content)}")
    raise OtherKind(payload[0])


class Wire:
    """Turns received bytes into frames and lines of text, in order.

    Read: `frames_lost` (gaps in the frames' numbers), `damaged` (pieces that were neither frame nor text).
    `other_kind` is the kind of the last frame if this program can't read it, else None. Bytes before the
    first zero may be the rest of a frame and are not counted.
    """

    def __init__(self, on_block: Callable[[Block], None] = lambda block: None) -> None:
        """Start anywhere in the stream. Blocks of the recorder go to `on_block`."""
        self._on_block = on_block
        self.frames_lost = 0
        self.damaged = 0
        self.other_kind: int | None = None
        self._pending = b""
        self._joined = False
        self._number: int | None = None

    def feed(self, received: bytes) -> list[Frame | str]:
        """Return what `received` completes."""
        found: list[Frame | str] = []
        *pieces, self._pending = (self._pending + received).split(b"\0")
        for piece in pieces:
            if piece:
                found += self._piece(piece)
            self._joined = True
        # Only text begins with so large a byte, so its lines need not wait for a zero.
        if self._pending and self._pending[0] > _CODE_SIZE and b"\n" in self._pending:
            text, _, self._pending = self._pending.rpartition(b"\n")
            found += self._lines(text)
        if len(self._pending) > _TEXT_MAX:
            self._pending = b""
            self.damaged += 1
        return found

    def _piece(self, piece: bytes) -> list[Frame | str]:
        try:
            block = decode_block(piece)
            if block is not None:
                self._on_block(block)
                return []
            frame = decode(piece)
        except DamagedBlock:
            self.damaged += 1
            return []
        except OtherKind as error:
            self.other_kind = error.kind
            return []
        except DamagedFrame:
            if all(byte in (9, 10, 13) or 32 <= byte < 127 for byte in piece):
                return [*self._lines(piece)]
            if self._joined:
                self.damaged += 1
            return []
        self.other_kind = None
        if self._number is not None:
            self.frames_lost += (frame.number - self._number - 1) % 256
        self._number = frame.number
        return [frame]

    def _lines(self, text: bytes) -> list[str]:
        # A board pads its lines with spaces.
        lines = [line.rstrip(" ") for line in text.decode("ascii", "replace").splitlines()]
        lines = [line for line in lines if line]
        if any(line.startswith('{"notice"') for line in lines):
            self._number = None  # The board has restarted, and counts from 0.
        return lines


def _named(names: tuple[str, ...], index: int) -> str:
    return names[index] if index < len(names) else f"number {index}"


def _frame(payload: bytes) -> Frame:
    (
        _,
        number,
        time_us,
        steps,
        period_us,
        worst_us,
        overruns,
        form,
        state,
        fault,
        flags,
        direction,
        cadence_rpm,
        pitch_us,
        edges,
        rejected,
        edges_lost,
        levels,
        samples_low,
        samples_high,
        speed_mm_per_s,
        share_permille,
        wanted_w,
        ceiling_w,
        power_w,
        command_mv,
        battery_low_mv,
        battery_high,
        current_low_ma,
        current_high,
        throttle_mv,
        selector_mv,
        motor_decicelsius,
    ) = _LAYOUT.unpack(payload)
    samples = samples_high << 16 | samples_low
    return Frame(
        number=number,
        time_us=time_us,
        steps=steps,
        period_us=period_us,
        worst_us=worst_us,
        overruns=overruns,
        form=_named(FORM_NAMES, form),
        state=_named(STATE_NAMES, state),
        fault=_named(CAUSE_NAMES, fault),
        brake_pulled=bool(flags & BRAKE_PULLED),
        drive_enabled=bool(flags & DRIVE_ENABLED),
        settings_valid=bool(flags & SETTINGS_VALID),
        resting=bool(flags & RESTING),
        throttle_rest_seen=bool(flags & THROTTLE_REST_SEEN),
        direction=_named(DIRECTION_NAMES, direction),
        cadence_rpm=cadence_rpm,
        pitch_s=pitch_us * 1e-6,
        edges=edges,
        rejected=rejected,
        edges_lost=edges_lost,
        levels=levels,
        level_samples=tuple(samples >> 2 * place & 3 for place in reversed(range(SAMPLES))),
        speed_m_per_s=speed_mm_per_s * 1e-3,
        share=share_permille * 1e-3,
        wanted_w=wanted_w,
        ceiling_w=ceiling_w,
        power_w=power_w,
        command_v=command_mv * 1e-3,
        battery_v=(battery_high << 16 | battery_low_mv) * 1e-3,
        current_a=(current_high << 16 | current_low_ma) * 1e-3,
        throttle_v=throttle_mv * 1e-3,
        selector_v=selector_mv * 1e-3,
        motor_celsius=motor_decicelsius * 0.1,
    )
