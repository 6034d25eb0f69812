"""Detects failures, latches the first one with its cause, and keeps it until asked to clear.

Each condition must hold for some steps in a row. A fault ends all drive; pedalling never clears it,
and neither does the end of the condition: that takes an explicit request after the condition has ended.
"""

from firmware.guard.plausibility import Plausibility
from firmware.records import Inputs
from firmware.sense.crank import Crank
from firmware.sense.levers import Selector, Throttle
from firmware.sense.rotation import Wheel
from firmware.sense.supply import Supply
from firmware.settings import TWO_CHANNELS, Settings
from firmware.ticks import CONTROL_PERIOD_MS

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
SHUNT_STUCK = 13
SHUNT_DEAD = 14
MOTOR_SILENT = 15
POWER_LOW = 16
WHEEL_SLOW = 17
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
    "current reading stuck: it stays the same while the battery voltage moves",
    "shunt dead: the battery voltage falls but no current is read",
    "no current although the motor must draw some: motor unplugged or shunt dead",
    "less power is measured than the motor must draw",
    "the motor turns faster than the wheel sensor shows: wheel pulses missing",
)

NOISE_FORGIVEN_AFTER = 20  # Steps (100 ms) after which one rejected edge is forgiven.
UNASKED_MA = 1_500  # Above the no-load current of hub motors of this class; common practice, no source.
UNASKED_SAMPLES = 100  # 0.5 s: a motor controller ends its power within 0.3 s (highest motor_lag_ms).
MISSING_MA = 150
MISSING_SAMPLES = 200  # 1 s.
JUDGED_ELSEWHERE = (EDGES_LOST, CRANK_NOISE, CRANK_CHANNEL_DEAD, WHEEL_LOST,
                    SHUNT_STUCK, SHUNT_DEAD, MOTOR_SILENT, POWER_LOW, WHEEL_SLOW)  # fmt: skip
"""Causes that have been counted before they come here: one sample latches them."""
HEAT_LOWEST_DECICELSIUS = -400  # An open or shorted sensor reads beyond these.
HEAT_HIGHEST_DECICELSIUS = 2_500


class Faults:
    """The fault latch. Read: `cause`, 0 while there is none; `conditions`, a bit for each cause that holds.

    A step first collects the conditions and counts them only if one holds, or did in the step before.
    """

    __slots__ = (
        "_battery_highest_mv",
        "_battery_lowest_mv",
        "_channels_run_max",
        "_command_max_mv",
        "_crank",
        "_heat_sensor_fitted",
        "_noise_level",
        "_noise_limit",
        "_noise_steps",
        "_overruns",
        "_plausibility",
        "_rejected",
        "_samples_in_row",
        "_samples_needed",
        "_selector",
        "_shunt_check_mm_per_s",
        "_shunt_fitted",
        "_supply",
        "_throttle",
        "_two_channels",
        "_unpulsed_samples",
        "_wheel",
        "_wheel_lost_samples",
        "cause",
        "conditions",
    )

    def __init__(
        self,
        settings: Settings,
        crank: Crank,
        wheel: Wheel,
        throttle: Throttle,
        selector: Selector,
        supply: Supply,
        plausibility: Plausibility,
    ) -> None:
        """Start with no fault; the components are those that it checks."""
        self._crank = crank
        self._wheel = wheel
        self._throttle = throttle
        self._selector = selector
        self._supply = supply
        self._plausibility = plausibility
        self._two_channels = settings.sensor_kind == TWO_CHANNELS
        # Two turns of the crank on one channel alone are not rocking.
        self._channels_run_max = settings.pulses_per_rev * 4
        self._noise_limit = settings.noise_limit
        self._battery_lowest_mv = settings.battery_empty_mv // 2
        self._battery_highest_mv = settings.battery_highest_mv
        self._command_max_mv = settings.command_max_mv
        self._shunt_fitted = settings.shunt_fitted == 1
        self._shunt_check_mm_per_s = settings.shunt_check_mm_per_s
        self._wheel_lost_samples = settings.wheel_lost_ms // CONTROL_PERIOD_MS
        self._heat_sensor_fitted = settings.heat_sensor_fitted == 1
        self._samples_needed = [settings.fault_samples] * len(CAUSE_NAMES)
        for cause in JUDGED_ELSEWHERE:
            self._samples_needed[cause] = 1
        self._samples_needed[CURRENT_UNASKED] = UNASKED_SAMPLES
        self._samples_needed[CURRENT_MISSING] = MISSING_SAMPLES
        self._samples_in_row = [0] * len(CAUSE_NAMES)
        self.conditions = 0
        self._unpulsed_samples = 0
        self._noise_level = 0
        self._noise_steps = 0
        self._rejected = 0
        self._overruns = 0
        self.cause = NO_FAULT

    def step(self, inputs: Inputs, command_mv: int) -> int:
        """Check everything once; return the latched cause, or 0.

        `command_mv` is the last command sent.
        """
        if inputs.clear_requested:
            self._clear()
        conditions = self._check_crank(inputs) | self._check_wires() | self._check_readings(inputs)
        conditions |= self._check_wheel(command_mv)
        if self._shunt_fitted:
            conditions |= self._check_shunt(command_mv) | self._check_plausibility()
        if conditions or self.conditions:
            self._count(conditions)
        self.conditions = conditions
        return self.cause

    def _clear(self) -> None:
        """Forget the cause; what still holds is latched again in the same step."""
        if self.cause == WHEEL_LOST:
            self._unpulsed_samples = 0  # Only driving again can show it.
        self._plausibility.forget()
        self.cause = NO_FAULT

    def _check_crank(self, inputs: Inputs) -> int:
        crank = self._crank
        conditions = 0
        overruns = inputs.crank.overruns + inputs.wheel.overruns
        if overruns != self._overruns:
            self._overruns = overruns
            conditions = 1 << EDGES_LOST
        if crank.rejected != self._rejected or self._noise_level != 0:
            conditions |= self._check_noise()
        if self._two_channels and crank.one_sided_run > self._channels_run_max:
            conditions |= 1 << CRANK_CHANNEL_DEAD
        return conditions

    def _check_noise(self) -> int:
        """Count the edges that the crank rejected: each is forgiven after a while, too many are a fault."""
        self._noise_steps += 1
        if self._noise_level == 0:
            self._noise_steps = 0
        elif self._noise_steps == NOISE_FORGIVEN_AFTER:
            self._noise_steps = 0
            self._noise_level -= 1
        rejected = (self._crank.rejected - self._rejected) & 0xFFFF
        self._rejected = self._crank.rejected
        self._noise_level = min(self._noise_level + rejected, self._noise_limit)
        return 1 << CRANK_NOISE if self._noise_level == self._noise_limit else 0

    def _check_wires(self) -> int:
        throttle = self._throttle
        selector = self._selector
        conditions = 0
        if throttle.wire_open:
            conditions = 1 << THROTTLE_WIRE_OPEN
        elif throttle.wire_shorted:
            conditions = 1 << THROTTLE_WIRE_SHORTED
        if selector.wire_open:
            conditions |= 1 << SELECTOR_WIRE_OPEN
        elif selector.wire_shorted:
            conditions |= 1 << SELECTOR_WIRE_SHORTED
        return conditions

    def _check_wheel(self, command_mv: int) -> int:
        """Count for how long a pulse is overdue while motor or crank turn; a pause does not reset it."""
        if self._wheel.pulsed:
            self._unpulsed_samples = 0
        elif command_mv > 0 or (self._wheel.overdue and not self._crank.standing):
            if self._unpulsed_samples + 1 >= self._wheel_lost_samples:
                return 1 << WHEEL_LOST
            self._unpulsed_samples += 1
        return 0

    def _check_readings(self, inputs: Inputs) -> int:
        conditions = 0
        if not self._battery_lowest_mv <= inputs.battery_mv <= self._battery_highest_mv:
            conditions = 1 << BATTERY_READING
        if self._heat_sensor_fitted and not (
            HEAT_LOWEST_DECICELSIUS <= inputs.motor_decicelsius <= HEAT_HIGHEST_DECICELSIUS
        ):
            conditions |= 1 << HEAT_READING
        return conditions

    def _check_shunt(self, command_mv: int) -> int:
        current_ma = self._supply.current_ma
        if command_mv == 0:
            return 1 << CURRENT_UNASKED if current_ma > UNASKED_MA else 0
        missing = (
            command_mv == self._command_max_mv
            and current_ma < MISSING_MA
            and self._wheel.speed_mm_per_s < self._shunt_check_mm_per_s
        )
        return 1 << CURRENT_MISSING if missing else 0

    def _check_plausibility(self) -> int:
        found = self._plausibility
        conditions = 1 << SHUNT_STUCK if found.shunt_stuck else 0
        conditions |= 1 << SHUNT_DEAD if found.shunt_dead else 0
        conditions |= 1 << MOTOR_SILENT if found.motor_silent else 0
        conditions |= 1 << POWER_LOW if found.power_low else 0
        conditions |= 1 << WHEEL_SLOW if found.wheel_slow else 0
        return conditions

    def _count(self, conditions: int) -> None:
        for cause in range(EDGES_LOST, len(CAUSE_NAMES)):
            self._observe(cause, conditions >> cause & 1 == 1)

    def _observe(self, cause: int, holds: bool) -> None:
        """Count one condition; latch its cause if it has held long enough and is the first."""
        if not holds:
            self._samples_in_row[cause] = 0
            return
        in_row = self._samples_in_row[cause] + 1
        if in_row < self._samples_needed[cause]:
            self._samples_in_row[cause] = in_row
        elif self.cause == NO_FAULT:
            self.cause = cause
