"""What the motor must be doing: one law relates command, speed, battery voltage and measured power.

A hub motor is a direct-current machine: V = E + R I, its back-EMF E proportional to the speed, and it takes
the power P = (E + R I) I from the battery. A motor controller of the torque kind sets I, a share of its
current limit; one of the speed kind sets V, a share of the battery voltage. So three of command, speed,
battery voltage and power give the fourth, and a wrong sensor contradicts the others.

    torque kind    I = limit (u - start) / span, at most (B - E) / R; P = (E + R I) I
    speed kind     V = B (u - start) / span; I from P = (E + R I) I; V - R I against E

The sensed speed is late, so E is a range: the speed plus and minus `Wheel.late_mm_per_s`. One learned
factor, from LEARNED_LOW to LEARNED_HIGH permille, corrects the error of the settings: of the back-EMF on
the speed kind, of the power on the torque kind.

Units: mV, mA, mOhm, W. Voltages up to VOLTAGE_MAX_MV, currents up to 200_000 mA and resistances up to
5_000 mOhm keep every product below 2**30.
"""

from firmware.integers import clamp
from firmware.sense.rotation import Wheel
from firmware.sense.supply import Supply
from firmware.settings import MOTOR_SPEED, MOTOR_UNKNOWN, Settings

VOLTAGE_MAX_MV = 100_000
POWER_MAX_W = 10_000
COMMAND_MAX_UV = 5_000_000
LEARNED_LOW = 750  # Settings may be wrong by a fifth; a larger error is a fault.
LEARNED_HIGH = 1250
LEARNED_SHIFT = 9  # Learned in 512 steps, 2.6 s.
CEILING_LEAST_W = 20  # By how much a small power may be exceeded: the model is no finer.
LAG_SHIFT = 2  # The power stage, then the smoothing of the current: about four steps each.


class MotorModel:
    """Predicts back-EMF, current and power.

    Read after `step`, and only where the motor is `known`: `back_emf_mv` at the sensed speed, with
    `lowest_emf_mv` and `highest_emf_mv` as far as the speed may be off; `plain_emf_mv`, the same before
    anything was learned; `current_ma` and `drop_mv` of the winding; on the speed kind `motor_mv`, the voltage
    that the command sets; on the torque kind `least_w` and `most_w`, between which the power must lie.
    """

    __slots__ = (
        "_battery_limit_ma",
        "_ceiling_ma",
        "_current_limit_ma",
        "_emf_mv_per_m_per_s",
        "_lagged",
        "_lagged_twice",
        "_learned",
        "_plain_w",
        "_resistance_mohm",
        "_span_mv",
        "_start_mv",
        "back_emf_mv",
        "battery_mv",
        "current_ma",
        "drop_mv",
        "highest_emf_mv",
        "known",
        "learned_permille",
        "least_w",
        "lowest_emf_mv",
        "most_w",
        "motor_mv",
        "plain_emf_mv",
        "speed_kind",
    )

    def __init__(self, settings: Settings) -> None:
        """Start with the motor at rest and nothing learned."""
        self.known = settings.motor_kind != MOTOR_UNKNOWN and settings.shunt_fitted == 1
        self.speed_kind = settings.motor_kind == MOTOR_SPEED
        self._start_mv = settings.command_start_mv
        self._span_mv = settings.command_max_mv - settings.command_start_mv
        self._emf_mv_per_m_per_s = settings.back_emf_mv_per_m_per_s
        self._resistance_mohm = settings.motor_resistance_mohm
        self._current_limit_ma = settings.motor_current_limit_ma
        self._battery_limit_ma = settings.battery_current_limit_ma
        self._lagged = 0
        self._lagged_twice = 0
        self._ceiling_ma = settings.motor_current_limit_ma
        self._learned = 1000 << LEARNED_SHIFT
        self.plain_emf_mv = 0
        self._plain_w = 0
        self.learned_permille = 1000
        self.back_emf_mv = 0
        self.battery_mv = 0
        self.current_ma = 0
        self.drop_mv = 0
        self.lowest_emf_mv = 0
        self.highest_emf_mv = 0
        self.motor_mv = 0
        self.least_w = 0
        self.most_w = 0

    def step(self, command_mv: int, wheel: Wheel, supply: Supply) -> None:
        """Update everything; `command_mv` (0 to 5000) is the last command sent."""
        if not self.known:
            return
        self._follow(command_mv)
        self.battery_mv = supply.battery_mv
        self._take_wheel(wheel.speed_mm_per_s, wheel.late_mm_per_s)
        over_mv = clamp((self._lagged_twice >> LAG_SHIFT) - self._start_mv, 0, self._span_mv)
        if self.speed_kind:
            self._predict_speed_kind(over_mv, supply.power_w)
        else:
            self._predict_torque_kind(over_mv)

    def found_emf_mv(self, current_ma: int) -> int:
        """Return the command that meets the back-EMF, from a battery current that flows now (speed kind).

        It is the voltage that the power stage has reached, less the drop of that current in the winding.
        """
        followed_mv = self._lagged >> LAG_SHIFT
        drop_mv = self._drop_mv(current_ma) * self._span_mv // max(self.motor_mv, 1000)
        return max(followed_mv - drop_mv, self._start_mv)

    def learn(self, power_w: int) -> None:
        """Move the learned factor a little towards the measured value, if that is within a quarter of it."""
        if self.speed_kind:
            found = (self.motor_mv - self.drop_mv) * 1000 // max(self.plain_emf_mv, 1)
        else:
            found = power_w * 1000 // max(self._plain_w, 1)
        if abs(found - self.learned_permille) > self.learned_permille >> 2:
            return
        self._learned += clamp(found, LEARNED_LOW, LEARNED_HIGH) - (self._learned >> LEARNED_SHIFT)
        self.learned_permille = self._learned >> LEARNED_SHIFT

    def command_for(self, voltage_mv: int) -> int:
        """Return the command that sets `voltage_mv` (0 or more; at most the battery's) at the motor."""
        battery_cv = self.battery_mv // 10
        if battery_cv == 0:
            return self._start_mv
        return self._start_mv + min(voltage_mv, self.battery_mv) // 10 * self._span_mv // battery_cv

    def command_change_uv(self, voltage_mv: int) -> int:
        """Return a change of `voltage_mv` (-125_000 to 125_000) at the motor as one of the command."""
        change_uv = voltage_mv * self._span_mv // max(self.battery_mv // 1000, 1)
        return clamp(change_uv, -COMMAND_MAX_UV, COMMAND_MAX_UV)

    def ceiling_mv(self, allowed_w: int) -> int:
        """Return the highest command for `allowed_w` (1 to 1500), whatever the shunt reads.

        On the torque kind it draws a tenth more than that; each call brings the current nearer by a step of
        Newton's method, from above. On the speed kind a volt is hundreds of watts: no bound is known.
        """
        if self.speed_kind or not self.known:
            return self._start_mv + self._span_mv
        wanted_w = allowed_w + max(allowed_w // 10, CEILING_LEAST_W)
        wanted_w = wanted_w * 1000 // max(self.learned_permille, 1000)
        self._ceiling_ma = self._nearer_ma(self._ceiling_ma, wanted_w)
        return self._start_mv + self._ceiling_ma * self._span_mv // self._current_limit_ma

    def _follow(self, command_mv: int) -> None:
        """Let the command pass through the lags of the power stage and of the measurement."""
        self._lagged += (command_mv << LAG_SHIFT) - self._lagged >> LAG_SHIFT
        self._lagged_twice += self._lagged - self._lagged_twice >> LAG_SHIFT

    def _take_wheel(self, speed_mm_per_s: int, late_mm_per_s: int) -> None:
        """Convert the sensed speed and its possible error to back-EMF."""
        emf = self._emf_mv_per_m_per_s
        self.plain_emf_mv = min(emf * speed_mm_per_s // 1000, VOLTAGE_MAX_MV)
        late_mv = min(emf * late_mm_per_s // 1000, VOLTAGE_MAX_MV)
        self.back_emf_mv = self.plain_emf_mv
        if self.speed_kind:
            self.back_emf_mv = min(self.plain_emf_mv * self.learned_permille // 1000, VOLTAGE_MAX_MV)
        self.lowest_emf_mv = max(self.back_emf_mv - late_mv, 0)
        self.highest_emf_mv = min(self.back_emf_mv + late_mv, VOLTAGE_MAX_MV)

    def _predict_speed_kind(self, over_mv: int, power_w: int) -> None:
        self.motor_mv = self.battery_mv // 10 * over_mv * 10 // self._span_mv
        self.current_ma = self._nearer_ma(self.current_ma, power_w)
        self.drop_mv = self._drop_mv(self.current_ma)

    def _predict_torque_kind(self, over_mv: int) -> None:
        """Compute the power at both ends of the back-EMF, each with the current that makes it extreme."""
        self.current_ma = self._current_limit_ma * over_mv // self._span_mv
        self._plain_w = self._power_w(self.back_emf_mv, self.back_emf_mv)
        learned_permille = self.learned_permille
        least_w = self._power_w(self.lowest_emf_mv, self.highest_emf_mv * 5 // 4)
        limit_w = self.battery_mv // 10 * self._battery_limit_ma // 100_000
        self.least_w = min(least_w, limit_w) * learned_permille // 1000
        self.most_w = (
            self._power_w(self.highest_emf_mv, self.lowest_emf_mv * 4 // 5) * learned_permille // 1000
        )

    def _power_w(self, emf_mv: int, limiting_emf_mv: int) -> int:
        """Return the power at one back-EMF with the current that the battery can drive against another."""
        left_mv = max(self.battery_mv - limiting_emf_mv, 0)
        current_ma = min(self.current_ma, left_mv * 1000 // self._resistance_mohm)
        volts_mv = min(emf_mv + self._drop_mv(current_ma), VOLTAGE_MAX_MV)
        return volts_mv // 10 * (current_ma // 10) // 10_000

    def limited(self, power_w: int) -> bool:
        """Return whether a limit of the motor controller, or the battery voltage, may limit the power.

        Each limit is assumed a fifth nearer than in the settings.
        """
        left_mv = max(self.battery_mv - self.back_emf_mv * 5 // 4, 0)
        if not self.speed_kind and self.current_ma > left_mv * 1000 // self._resistance_mohm:
            return True
        if self.current_ma >= self._current_limit_ma // 5 * 4:
            return True
        return power_w >= self.battery_mv // 10 * self._battery_limit_ma // 100_000 // 5 * 4

    def _drop_mv(self, current_ma: int) -> int:
        return min(self._resistance_mohm * current_ma // 1000, VOLTAGE_MAX_MV)

    def _nearer_ma(self, current_ma: int, power_w: int) -> int:
        """Return a current nearer to the one that takes `power_w` at the back-EMF: a step of Newton's method.

        For E I + R I^2 = P: I' = (P + R I^2) / (E + 2 R I). Never too low after the first step.
        """
        drop_mv = self._drop_mv(current_ma)
        total_w = min(power_w + drop_mv // 10 * (current_ma // 10) // 10_000, POWER_MAX_W)
        slope_mv = self.back_emf_mv + 2 * drop_mv
        return min(total_w * 100_000 // max(slope_mv // 10, 1), self._current_limit_ma)
