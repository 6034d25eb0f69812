"""A rider, a bicycle and its sensors for the desk, in integers: enough to show what the firmware does.

Its physics is coarse; the bench has the real one. The bicycle fits whatever settings it is given, so that
every bike file can be tried. It moves in steps of one millisecond.
"""

from firmware.records import Inputs
from firmware.settings import B_LEADS, DUTY_CODED, ONE_CHANNEL, TWO_CHANNELS, Settings
from firmware.ticks import TICKS_MAX_US, ticks_add_us, ticks_diff_us

MS_US = 1_000
# Duration in ms, cadence in rpm (negative: backward), whether the brake is pulled; then repeated.
STAGES = (
    (5_000, 0, False),
    (12_000, 65, False),
    (4_000, 0, False),
    (6_000, 45, False),
    (8_000, 85, False),
    (2_000, 85, True),
    (2_000, -30, False),
    (9_000, 0, True),
)
# For `treadle inspect --live`: six turns forward, two back, then nothing for an hour. The length of
# a stage gives its whole angle: starting takes away as much as stopping adds.
GUIDED_STAGES = (
    (6_000, 0, False),
    (7_200, 50, False),
    (6_000, 0, False),
    (3_000, -40, False),
    (3_600_000, 0, False),
)
# For `treadle calibrate`: nobody pedals while levers and meters are read.
STANDING_STAGES = ((3_600_000, 0, False),)
SWAPPED = "swapped"
DEAD_A = "dead-a"
DEAD_B = "dead-b"
WIRES = ("", SWAPPED, DEAD_A, DEAD_B)
CADENCE_RPM_PER_S = 120
WAY_OF_A_TURN_MM = 5_000
PEDALLING_MM_PER_S2 = 900
MOTOR_MM_PER_S2_PER_A = 60
ROLLING_MM_PER_S2 = 350
BRAKING_MM_PER_S2 = 2_500
MA_PER_MV = 6  # Above the dead band of the motor controller.

_QUARTER = 15_000_000  # A quarter of a pitch, in rpm times pulses times microseconds.
_A_LEADS = (0, 1, 3, 2)
_B_LEADS = (0, 2, 3, 1)
_ONE = (0, 0, 1, 1)
_MOSTLY_HIGH = (0, 1, 1, 1)
_MOSTLY_LOW = (0, 1, 0, 0)


class Rider:
    """Rides in stages. Read: `brake_pulled`, `speed_mm_per_s`, `current_ma`, `battery_mv`."""

    def __init__(
        self,
        settings: Settings,
        magnet_missing: bool,
        now_us: int,
        guided: bool = False,
        wires: str = "",
        standing: bool = False,
    ) -> None:
        """Start at rest; with `magnet_missing` one magnet of the ring is missing.

        `guided`: ride GUIDED_STAGES; `standing`: STANDING_STAGES. `wires`: what is wrong, one of WIRES.
        """
        self._stages = STANDING_STAGES if standing else GUIDED_STAGES if guided else STAGES
        self._wires = wires
        self._settings = settings
        self._magnet_missing = magnet_missing
        self._last_us = now_us
        self._stage = 0
        self._stage_ms = 0
        self._milli_rpm = 0
        self._travelled = 0
        self._quarter = 0
        self._levels = -1
        self._speed_um_per_s = 0
        self._wheel_um = 0
        self.brake_pulled = False
        self.speed_mm_per_s = 0
        self.current_ma = 0
        self.battery_mv = settings.battery_highest_mv - 500

    def advance(self, inputs: Inputs, command_mv: int, now_us: int) -> None:
        """Ride until `now_us` with this command, and log the edges."""
        while ticks_diff_us(now_us, self._last_us) >= MS_US:
            self._ride_a_millisecond(command_mv)
            self._turn_crank(inputs)
            self._turn_wheel(inputs)
            self._last_us = ticks_add_us(self._last_us, MS_US)

    def _ride_a_millisecond(self, command_mv: int) -> None:
        length_ms, rpm, brake_pulled = self._stages[self._stage]
        self._stage_ms += 1
        if self._stage_ms == length_ms:
            self._stage_ms = 0
            self._stage = (self._stage + 1) % len(self._stages)
        self.brake_pulled = brake_pulled
        self._milli_rpm = _towards(rpm * 1_000, self._milli_rpm, CADENCE_RPM_PER_S)
        self.current_ma = max(command_mv - self._settings.command_start_mv, 0) * MA_PER_MV
        self.battery_mv = self._settings.battery_highest_mv - 500 - self.current_ma // 10
        # In micrometres: a mm/s2 is a um/s in each millisecond.
        pedalled_um_per_s = max(self._milli_rpm, 0) * WAY_OF_A_TURN_MM // 60
        speed_um_per_s = self._speed_um_per_s + MOTOR_MM_PER_S2_PER_A * self.current_ma // 1_000
        if speed_um_per_s < pedalled_um_per_s:
            speed_um_per_s += PEDALLING_MM_PER_S2
        speed_um_per_s -= BRAKING_MM_PER_S2 if brake_pulled else ROLLING_MM_PER_S2
        self._speed_um_per_s = max(speed_um_per_s, 0)
        self.speed_mm_per_s = self._speed_um_per_s // 1_000

    def _turn_crank(self, inputs: Inputs) -> None:
        """Move the ring; at these cadences at most one quarter of a pitch passes in a millisecond."""
        rate = self._milli_rpm * self._settings.pulses_per_rev // 1_000
        self._travelled += rate * MS_US
        if 0 <= self._travelled < _QUARTER and self._levels >= 0:
            return
        beyond = 0
        if self._travelled >= _QUARTER:
            self._travelled -= _QUARTER
            self._quarter += 1
            beyond = self._travelled
        elif self._travelled < 0:
            beyond = -self._travelled
            self._travelled += _QUARTER
            self._quarter -= 1
        levels = self._at_the_pins(self._levels_now())
        if levels != self._levels:
            ago_us = beyond // max(abs(rate), 1)
            if self._levels >= 0:
                inputs.crank.record(levels, (self._last_us + MS_US - ago_us) & TICKS_MAX_US)
            self._levels = levels

    def _levels_now(self) -> int:
        settings = self._settings
        if self._magnet_missing and self._quarter // 4 % settings.pulses_per_rev == 0:
            return 0
        ring = _A_LEADS if settings.lead == 0 else _B_LEADS
        if settings.sensor_kind == ONE_CHANNEL:
            ring = _ONE
        elif settings.sensor_kind == DUTY_CODED:
            ring = (
                _MOSTLY_HIGH if (self._milli_rpm >= 0) == (settings.forward_duty_high == 1) else _MOSTLY_LOW
            )
        levels = ring[self._quarter & 3]
        return levels << 1 if settings.sensor_kind != TWO_CHANNELS and settings.lead == B_LEADS else levels

    def _at_the_pins(self, levels: int) -> int:
        """Return the levels as they arrive through the wires."""
        if self._wires == SWAPPED:
            return (levels & 1) << 1 | levels >> 1
        if self._wires == DEAD_A:
            return levels & 2
        if self._wires == DEAD_B:
            return levels & 1
        return levels

    def _turn_wheel(self, inputs: Inputs) -> None:
        pitch_um = self._settings.wheel_circumference_mm * 1_000 // self._settings.wheel_pulses_per_rev
        before_um = self._wheel_um
        self._wheel_um += self._speed_um_per_s // 1_000
        if before_um < pitch_um // 2 <= self._wheel_um:
            inputs.wheel.record(0, self._last_us)
        if self._wheel_um >= pitch_um:
            self._wheel_um -= pitch_um
            inputs.wheel.record(1, self._last_us)


def _towards(target: int, value: int, step: int) -> int:
    return min(value + step, target) if value < target else max(value - step, target)
