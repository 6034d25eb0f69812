"""Telemetry: one frame of fixed layout, built in place without allocating.

A frame on the wire is a zero byte, the COBS code of payload and CRC-16, and a zero byte. COBS
(consistent overhead byte stuffing, Cheshire and Baker 1999) keeps zeros out of the code, so a zero always
means "here a frame begins or ends". The CRC is the one that CRC catalogues call CRC-16/CCITT-FALSE or
CRC-16/IBM-3740: polynomial 0x1021, start 0xFFFF, check value 0x29B1 over the text "123456789"; it goes
out high byte first. All other numbers are little-endian, and unsigned except for the temperature; a value too
large for its field is sent as the largest number that fits. Frame and zeros are 64 bytes, one piece of the
port. The layout, from byte 0 of the payload:

    kind 1, number 1, time_us 4, steps 2, period_us 2, worst_us 2, overruns 2, form 1, state 1, fault 1,
    flags 1, direction 1, cadence_rpm 2, pitch_us 4, edges 2, rejected 2, edges_lost 2, levels 1,
    level_samples 3, speed_mm_per_s 2, share_permille 2, wanted_w 2, ceiling_w 2, power_w 2, command_mv 2,
    battery_mv 3, current_ma 3, throttle_mv 2, selector_mv 2, motor_decicelsius 2

`period_us` is the mean time from step to step since the last frame, 0 if it is not known; `worst_us` is the
longest time since then from a step's reading of its inputs to the next reading. `form` is how the firmware
was translated for the board: 0 source, 1 bytecode, 2 machine code, 3 all of a step in one module.
`level_samples` holds the levels of the last 12 steps, two bits each, the newest lowest. `number` counts
frames, modulo 256; `steps`, `overruns`, `edges`, `rejected` and `edges_lost` count modulo 65536.
"""

from firmware.controller import Controller
from firmware.link.history import RememberedEdges
from firmware.link.payload import (
    PAYLOAD_AT,
    RESTING,
    SETTINGS_VALID,
    crc16,
    put_crank,
    put_head,
    put_power,
    put_state,
    put_times,
    replace_zeros,
)
from firmware.loop import LoopCounters
from firmware.records import Inputs
from firmware.ticks import ticks_diff_us

PAYLOAD_SIZE = 59
FRAME_SIZE = PAYLOAD_SIZE + 5  # Two zeros, one byte of code, two of CRC.
FRAME_PERIOD_US = 50_000  # 20 frames a second.
SAMPLES = 12
_SAMPLES_MASK = (1 << 2 * SAMPLES) - 1


def crc_table() -> bytearray:
    """Return the table of `crc16`: the CRC of each value of a byte, from a start of 0."""
    table = bytearray(512)
    for value in range(256):
        carried = value ^ value >> 4
        crc = carried << 12 ^ carried << 5 ^ carried  # The powers of the polynomial.
        table[value] = crc >> 8 & 0xFF
        table[value + 256] = crc & 0xFF
    return table


CRC_TABLE = crc_table()


class Telemetry:
    """One frame, in three stages that may be spread over time: `measure`, `seal`, `stuff`. Read: `frame`."""

    __slots__ = (
        "_controller",
        "_counters",
        "_edges",
        "_form",
        "_inputs",
        "_level_samples",
        "_measured_steps",
        "_measured_us",
        "_number",
        "_sampled_steps",
        "_settings_valid",
        "_timed",
        "frame",
    )

    def __init__(
        self,
        controller: Controller,
        inputs: Inputs,
        edges: RememberedEdges,
        counters: LoopCounters,
        settings_valid: bool,
        form: int,
    ) -> None:
        """Start with an empty frame. `edges` is the log in `inputs.crank`."""
        self._controller = controller
        self._inputs = inputs
        self._edges = edges
        self._counters = counters
        self._settings_valid = settings_valid
        self._form = form
        self._timed = False
        self._measured_us = 0
        self._measured_steps = 0
        self._number = 0
        self._level_samples = 0
        self._sampled_steps = counters.steps
        self.frame = bytearray(FRAME_SIZE)

    def sample(self) -> None:
        """Record the levels of the crank once for each step since the last call."""
        steps = self._counters.steps
        if steps == self._sampled_steps:
            return
        missed = min((steps - self._sampled_steps) & 0xFFFF, SAMPLES)
        self._sampled_steps = steps
        for _ in range(missed):
            self._level_samples = (self._level_samples << 2 | self._edges.levels & 3) & _SAMPLES_MASK

    def measure(self, resting: bool, now_us: int) -> None:
        """Write everything into the payload, and restart the search for the longest step."""
        put_times(self.frame, self._counters, now_us, self._period_us(now_us))
        self._counters.worst_us = 0
        put_head(self.frame, self._number, self._form)
        self._number = (self._number + 1) & 0xFF
        flags = SETTINGS_VALID if self._settings_valid else 0
        put_state(self.frame, self._controller, self._inputs, flags | RESTING if resting else flags)
        put_crank(self.frame, self._controller, self._edges, self._level_samples)
        put_power(self.frame, self._controller, self._inputs)

    def seal(self) -> None:
        """Append the CRC to the payload."""
        crc = crc16(CRC_TABLE, self.frame, PAYLOAD_AT, PAYLOAD_AT + PAYLOAD_SIZE)
        self.frame[FRAME_SIZE - 3] = crc >> 8
        self.frame[FRAME_SIZE - 2] = crc & 0xFF

    def stuff(self) -> None:
        """Replace every zero by the distance to the next one: the frame is ready to be sent."""
        replace_zeros(self.frame, PAYLOAD_AT, FRAME_SIZE - 1, PAYLOAD_AT - 1)

    def _period_us(self, now_us: int) -> int:
        """Return the mean time from step to step since the last call; 0 if it is not known."""
        elapsed_us = ticks_diff_us(now_us, self._measured_us)
        steps = (self._counters.steps - self._measured_steps) & 0xFFFF
        known = self._timed and steps > 0 and elapsed_us > 0  # Below 0 the clock went back.
        self._timed = True
        self._measured_us = now_us
        self._measured_steps = self._counters.steps
        return elapsed_us // steps if known else 0
