"""Detects failures, latches the first one with its cause, and keeps it until asked to clear.

Each condition must hold for some steps in a row. A fault ends all drive; pedalling never clears it,
and neither does the end of the condition: it takes an explicit request, and the condition gone.
"""

from firmware.integers import clamp
from firmware.records import Inputs
from firmware.sense.crank import Crank
from firmware.sense.levers import Selector, Throttle
from firmware.sense.rotation import Wheel
from firmware.sense.supply import Supply
from firmware.settings import TWO_CHANNELS, Settings

NO_FAULT = 0
EDGES_LOST = 1
CRANK_NOISE = 2
CRANK_CHANNEL_DEAD = 3
THROTTLE_WIRE_OPEN = 4
THROTTLE_WIRE_SHORTED = 5
SELECTOR_WIRE_OPEN = 6
SELECTOR_WIRE_SHORTED = 7
BATTERY_READING = 8
CURRENT_UNASKED = 9
CURRENT_MISSING = 10
WHEEL_LOST = 11
HEAT_READING = 12
CAUSE_NAMES: tuple[str, ...] = (
    "none",
    "crank edges lost: they came faster than they were read",
    "noise on the pedal sensor",
    "one channel of the pedal sensor is dead",
    "throttle wire open",
    "throttle wire shorted to its supply",
    "selector wire open",
    "selector wire shorted to its supply",
    "battery voltage reading out of range",
    "current flows that was not asked for",
    "no current at the highest command",
    "no wheel pulses while driving",
    "motor temperature reading out of range",
)

PERIODS_PER_MS = 5
NOISE_FORGIVEN_AFTER = 20  # Steps, 100 ms: then one rejected edge is forgiven.
UNASKED_MA = 1_500  # Above the no-load current of hub motors of this class; common practice, no source.
UNASKED_SAMPLES = 100  # 0.5 s: a motor controller lets go within 0.3 s (highest motor_lag_ms).
MISSING_MA = 150
MISSING_SAMPLES = 200  # 1 s.
HEAT_LOWEST_DECICELSIUS = -400  # What an open or shorted sensor reads is beyond these.
HEAT_HIGHEST_DECICELSIUS = 2_500


class Faults:
    """The fault latch. Read: `cause`, 0 while there is none."""

    __slots__ = (
        "_battery_highest_mv",
        "_battery_lowest_mv",
        "_channels_run_max",
        "_command_max_mv",
        "_heat_sensor_fitted",
        "_noise_level",
        "_noise_limit",
        "_noise_steps",
        "_overruns",
        "_rejected",
        "_samples",
        "_samples_in_row",
        "_shunt_check_mm_per_s",
        "_shunt_fitted",
        "_two_channels",
        "_wheel_lost_samples",
        "cause",
    )

    def __init__(self, settings: Settings) -> None:
        """Start with no fault."""
        self._samples = settings.fault_samples
        self._two_channels = settings.sensor_kind == TWO_CHANNELS
        # Two turns of the crank on one channel alone are no rocking.
        self._channels_run_max = settings.pulses_per_rev * 4
        self._noise_limit = settings.noise_limit
        self._battery_lowest_mv = settings.battery_empty_mv // 2
        self._battery_highest_mv = settings.battery_highest_mv
        self._command_max_mv = settings.command_max_mv
        self._shunt_fitted = settings.shunt_fitted == 1
        self._shunt_check_mm_per_s = settings.shunt_check_mm_per_s
        self._wheel_lost_samples = settings.wheel_lost_ms // PERIODS_PER_MS
        self._heat_sensor_fitted = settings.heat_sensor_fitted == 1
        self._samples_in_row = [0] * len(CAUSE_NAMES)
        self._noise_level = 0
        self._noise_steps = 0
        self._rejected = 0
        self._overruns = 0
        self.cause = NO_FAULT

    def step(
        self,
        inputs: Inputs,
        crank: Crank,
        wheel: Wheel,
        throttle: Throttle,
        selector: Selector,
        supply: Supply,
        command_mv: int,
    ) -> int:
        """Look at everything once; return the latched cause, or 0.

        `command_mv` is the command that went out last.
        """
        if inputs.clear_requested:
            if self.cause == WHEEL_LOST:
                self._samples_in_row[WHEEL_LOST] = 0  # Only driving again can tell.
            self.cause = NO_FAULT  # What still holds is latched again below.
        self._crank(inputs, crank)
        samples = self._samples
        self._observe(THROTTLE_WIRE_OPEN, throttle.wire_open, samples)
        self._observe(THROTTLE_WIRE_SHORTED, throttle.wire_shorted, samples)
        self._observe(SELECTOR_WIRE_OPEN, selector.wire_open, samples)
        self._observe(SELECTOR_WIRE_SHORTED, selector.wire_shorted, samples)
        battery_mv = inputs.battery_mv
        implausible = battery_mv < self._battery_lowest_mv or battery_mv > self._battery_highest_mv
        self._observe(BATTERY_READING, implausible, samples)
        if wheel.pulsed or command_mv > 0:  # Time without drive neither counts nor excuses what came before.
            self._observe(WHEEL_LOST, not wheel.pulsed, self._wheel_lost_samples)
        if self._shunt_fitted:
            unasked = command_mv == 0 and supply.current_ma > UNASKED_MA
            self._observe(CURRENT_UNASKED, unasked, UNASKED_SAMPLES)
            missing = (
                command_mv == self._command_max_mv
                and supply.current_ma < MISSING_MA
                and wheel.speed_mm_per_s < self._shunt_check_mm_per_s
            )
            self._observe(CURRENT_MISSING, missing, MISSING_SAMPLES)
        if self._heat_sensor_fitted:
            heat = inputs.motor_decicelsius
            implausible = heat < HEAT_LOWEST_DECICELSIUS or heat > HEAT_HIGHEST_DECICELSIUS
            self._observe(HEAT_READING, implausible, samples)
        return self.cause

    def _crank(self, inputs: Inputs, crank: Crank) -> None:
        overruns = inputs.crank.overruns + inputs.wheel.overruns
        self._observe(EDGES_LOST, overruns != self._overruns, 1)
        self._overruns = overruns
        self._noise_steps += 1
        if self._noise_steps == NOISE_FORGIVEN_AFTER:
            self._noise_steps = 0
            self._noise_level = max(self._noise_level - 1, 0)
        rejected = (crank.rejected - self._rejected) & 0xFFFF
        self._rejected = crank.rejected
        self._noise_level = clamp(self._noise_level + rejected, 0, self._noise_limit)
        self._observe(CRANK_NOISE, self._noise_level == self._noise_limit, 1)
        if self._two_channels:
            self._observe(CRANK_CHANNEL_DEAD, crank.one_sided_run > self._channels_run_max, 1)

    def _observe(self, cause: int, holds: bool, samples: int) -> None:
        """Count one condition; latch its cause if it has held long enough and is the first."""
        if not holds:
            self._samples_in_row[cause] = 0
            return
        in_row = self._samples_in_row[cause] + 1
        if in_row < samples:
            self._samples_in_row[cause] = in_row
        elif self.cause == NO_FAULT:
            self.cause = cause
