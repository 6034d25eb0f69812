"""Writes frames: values into the payload, the check sum, and distances in place of zeros.

The layouts are those of `firmware/link/telemetry.py` and `stream.py`. Where a board takes machine code these
become viper functions (`host_sim/forms/viper/by_the_byte.py`).
Places (`start`) count from the first byte of the payload. A value too large for its field is written as the
largest number that fits, and one below zero as zero.
"""

from firmware.controller import Controller
from firmware.link.history import RememberedEdges
from firmware.loop import LoopCounters
from firmware.records import Inputs

FRAME_KIND = 2
PAYLOAD_AT = 2  # It follows a zero and a code.
CRC_START = 0xFFFF
CODE_MASK = 0x1FF

# Bits of `flags`.
BRAKE_PULLED = 1
DRIVE_ENABLED = 2
SETTINGS_VALID = 4
RESTING = 8
THROTTLE_REST_SEEN = 16

# Values of `direction`.
STANDING = 0
FORWARD = 1
BACKWARD = 2


def put_head(frame: bytearray, sequence: int, form: int) -> None:
    """Write the kind of frame, its number, and the form of the firmware."""
    put8(frame, 0, FRAME_KIND)
    put8(frame, 1, sequence)
    put8(frame, 14, form)


def put_times(frame: bytearray, counters: LoopCounters, now_us: int, period_us: int) -> None:
    """Write the time and the counters of the loop."""
    put24(frame, 2, now_us & 0xFFFFFF)
    put8(frame, 5, now_us >> 24)
    put16(frame, 6, counters.steps)
    put16(frame, 8, period_us)
    put16(frame, 10, counters.worst_us)
    put16(frame, 12, counters.overruns)


def put_state(frame: bytearray, controller: Controller, inputs: Inputs, conditions: int) -> None:
    """Write state, fault and flags: the bits in `conditions`, and those of readings and outputs."""
    put8(frame, 15, controller.engagement.state)
    put8(frame, 16, controller.faults.cause)
    if inputs.brake_pulled:
        conditions |= BRAKE_PULLED
    if controller.outputs.drive_enabled:
        conditions |= DRIVE_ENABLED
    if controller.throttle.rest_seen:
        conditions |= THROTTLE_REST_SEEN
    put8(frame, 17, conditions)


def put_crank(frame: bytearray, controller: Controller, edges: RememberedEdges, samples: int) -> None:
    """Write the state of the crank; `samples` are the levels of the last steps."""
    direction = STANDING
    if not controller.crank.standing:
        if controller.crank.backward_run > 0:
            direction = BACKWARD
        elif controller.crank.forward_run > 0:
            direction = FORWARD
    put8(frame, 18, direction)
    put16(frame, 19, controller.pedalling.cadence_rpm)
    put16(frame, 21, controller.crank.pitch_us & 0xFFFF)
    put16(frame, 23, controller.crank.pitch_us >> 16)
    put16(frame, 25, edges.taken)
    put16(frame, 27, controller.crank.rejected)
    put16(frame, 29, edges.overruns)
    put8(frame, 31, edges.levels)
    put24(frame, 32, samples)


def put_power(frame: bytearray, controller: Controller, inputs: Inputs) -> None:
    """Write speed, levers, watts, volts, amperes and temperature."""
    put16(frame, 35, controller.wheel.speed_mm_per_s)
    put16(frame, 37, controller.selector.share_permille)
    put16(frame, 39, controller.request.wanted_w)
    put16(frame, 41, controller.ceilings.ceiling_w)
    put16(frame, 43, controller.supply.power_w)
    put16(frame, 45, controller.outputs.command_mv)
    put24(frame, 47, controller.supply.battery_mv)
    put24(frame, 50, controller.supply.current_ma)
    put16(frame, 53, inputs.throttle_mv)
    put16(frame, 55, inputs.selector_mv)
    put_signed(frame, 57, inputs.motor_decicelsius)


def put8(frame: bytearray, start: int, value: int) -> None:
    """Write a number of one byte."""
    if value < 0:
        value = 0
    elif value > 0xFF:
        value = 0xFF
    frame[start + PAYLOAD_AT] = value


def put16(frame: bytearray, start: int, value: int) -> None:
    """Write a number of two bytes."""
    if value < 0:
        value = 0
    elif value > 0xFFFF:
        value = 0xFFFF
    frame[start + PAYLOAD_AT] = value & 0xFF
    frame[start + PAYLOAD_AT + 1] = value >> 8


def put24(frame: bytearray, start: int, value: int) -> None:
    """Write a number of three bytes."""
    if value < 0:
        value = 0
    elif value > 0xFFFFFF:
        value = 0xFFFFFF
    frame[start + PAYLOAD_AT] = value & 0xFF
    frame[start + PAYLOAD_AT + 1] = value >> 8 & 0xFF
    frame[start + PAYLOAD_AT + 2] = value >> 16


def put_signed(frame: bytearray, start: int, value: int) -> None:
    """Write a number with a sign, as two's complement in two bytes."""
    if value < -32_768:
        value = -32_768
    elif value > 32_767:
        value = 32_767
    frame[start + PAYLOAD_AT] = value & 0xFF
    frame[start + PAYLOAD_AT + 1] = value >> 8 & 0xFF


def crc16(table: bytearray, content: bytearray, start: int, end: int) -> int:
    """Return the CRC-16/CCITT-FALSE of `content` from `start` up to, not including, `end`.

    `table` has the CRC of each value of a byte: its high byte there, its low byte 256 places later.
    """
    high = CRC_START >> 8
    low = CRC_START & 0xFF
    for at in range(start, end):
        index = high ^ content[at]
        high = low ^ table[index]
        low = table[index + 256]
    return high << 8 | low


def replace_zeros(frame: bytearray, start: int, end: int, state: int) -> None:
    """Replace each zero from `start` up to `end` by the distance to the next.

    `state` has the place of the previous zero, as in the next function.
    """
    code_at = state & CODE_MASK
    for at in range(start, end):
        if frame[at] == 0:
            frame[code_at] = at - code_at
            code_at = at
    frame[code_at] = end - code_at


def put_without_zeros(
    table: bytearray, block: bytearray, frame: bytearray, start: int, end: int, state: int
) -> int:
    """Put a part of a block into a frame, and into the check sum; return the new state.

    `state` is the CRC so far, shifted by 9, and the place in the frame for the distance to the
    next zero.
    """
    code_at = state & CODE_MASK
    low = state >> 9
    high = low >> 8
    low = low & 0xFF
    for at in range(start, end):
        value = block[at]
        index = high ^ value
        high = low ^ table[index]
        low = table[index + 256]
        if value == 0:
            frame[code_at] = at + PAYLOAD_AT - code_at
            code_at = at + PAYLOAD_AT
        else:
            frame[at + PAYLOAD_AT] = value
    return (high << 8 | low) << 9 | code_at
