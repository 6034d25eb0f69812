"""A rider: legs on a crank with two torque peaks a turn, a chain, a gear and a freewheel.

Torque over the turn is Tm (1 - a cos 2 th), th from the dead centre. Power at the dead centres is
27.3 % of the mean (25.7 % when corrected for inertia) at 279 W and 93.1 rpm in Leirdal and Ettema,
MSSE 2011 (PubMed 20798659); a = 1 - that share.
"""

from math import cos, pi, sin, sqrt

from host_sim.plant.limits import require

FOLLOW = 0  # The crank follows `target_rad_per_s`; the gear follows from crank and wheel.
HOLD = 1  # The rider tries to hold `target_rad_per_s` in the given gear.
EFFORT = 2  # The rider gives `power_w` in the given gear.
RIDDEN = 3  # A recording: as FOLLOW, within what the wheel and the gears of this bicycle allow.

# Legs stop from 80 rpm (8.4 rad/s) in 0.14 s and start as fast; common practice, no source.
LEG_ACCELERATION_RAD_PER_S2 = 60.0
# HOLD: full strength when the crank is this much (9.5 rpm) too slow, decreasing as it gets closer.
HOLD_BAND_RAD_PER_S = 1.0
# EFFORT: no rider pedals above 150 rpm for long; common practice, no source.
LEG_FASTEST_RAD_PER_S = 5.0 * pi
# A rider who waits at the lights puts a pedal where it can be pushed.
_START_AFTER_DEAD_CENTRE_RAD = 0.25 * pi
_TURN_RAD = 2.0 * pi
_STILL_RAD_PER_S = 1e-3
_CAUGHT_UP_RAD_PER_S = 1e-9


class Rider:
    """The crank, and the force that reaches the wheel rim."""

    __slots__ = (
        "_chain_efficiency",
        "_dead_centre_rad",
        "_development_high_m",
        "_development_low_m",
        "_leg_rad_per_s",
        "_profile",
        "_ripple",
        "_ripple_mean",
        "_strength_nm",
        "crank_rad",
        "crank_rad_per_s",
        "delivered_power_w",
        "development_m",
        "mode",
        "power_w",
        "target_rad_per_s",
    )

    def __init__(
        self,
        strength_nm: float,
        dead_centre_share: float,
        cadence_ripple: float,
        development_low_m: float,
        development_high_m: float,
        chain_efficiency: float,
    ) -> None:
        """Start at rest at crank angle 0; a value out of range raises ValueError.

        `strength_nm` (5 to 500) is the most torque as a mean over the turn. `dead_centre_share` (0 to 1):
        torque at the dead centre over the mean. `cadence_ripple` (0 to 0.5): how far the crank speed of a
        recording varies about its mean, as a share. Development is metres per crank turn, 0.3 to 20.
        """
        self._strength_nm = require("strength_nm", strength_nm, 5.0, 500.0, "N m")
        self._profile = 1.0 - require("dead_centre_share", dead_centre_share, 0.0, 1.0)
        self._ripple = require("cadence_ripple", cadence_ripple, 0.0, 0.5)
        self._ripple_mean = 1.0 / sqrt(1.0 - self._ripple * self._ripple)
        self._development_low_m = require("development_low_m", development_low_m, 0.3, 20.0, "m")
        high_m = require("development_high_m", development_high_m, 0.3, 20.0, "m")
        if high_m < self._development_low_m:
            raise ValueError(
                f"development_high_m must be {development_low_m:g} (the low one) to 20 m, got {high_m:g}"
            )
        self._development_high_m = high_m
        self._chain_efficiency = require("chain_efficiency", chain_efficiency, 0.5, 1.0)
        self._leg_rad_per_s = 0.0
        self._dead_centre_rad = -_START_AFTER_DEAD_CENTRE_RAD
        self.mode = HOLD
        self.target_rad_per_s = 0.0
        self.power_w = 0.0
        self.development_m = 0.0
        self.crank_rad = 0.0
        self.crank_rad_per_s = 0.0
        self.delivered_power_w = 0.0

    def step(self, speed_m_per_s: float, elapsed_s: float) -> float:
        """Return the force at the rim, N (0 or more), and turn the crank on by `elapsed_s`.

        `mode`, `target_rad_per_s`, `power_w` and `development_m` may change before any step. A negative
        target pedals backward: the freewheel turns and no force comes. `delivered_power_w` is the power at
        the crank now. HOLD with the automatic gear (`development_m` 0) holds the cadence by shifting, so
        there `power_w` is the effort; in EFFORT without power the legs rest. Without a positive target the
        automatic gear is the lowest. To rock the crank of a standing bicycle, FOLLOW a target whose sign
        changes: in HOLD and EFFORT a standing wheel holds the crank.
        """
        if self.mode == FOLLOW:
            return self._follow(speed_m_per_s, elapsed_s)
        if self.mode == RIDDEN:
            return self._ride(speed_m_per_s, elapsed_s)
        return self._push(speed_m_per_s, elapsed_s)

    def _move_leg(self, wanted_rad_per_s: float, elapsed_s: float) -> float:
        """Move the legs towards the target speed as fast as legs can; return their mean speed meanwhile."""
        before_rad_per_s = self._leg_rad_per_s
        reach_rad_per_s = LEG_ACCELERATION_RAD_PER_S2 * elapsed_s
        if wanted_rad_per_s > before_rad_per_s + reach_rad_per_s:
            wanted_rad_per_s = before_rad_per_s + reach_rad_per_s
        elif wanted_rad_per_s < before_rad_per_s - reach_rad_per_s:
            wanted_rad_per_s = before_rad_per_s - reach_rad_per_s
        self._leg_rad_per_s = wanted_rad_per_s
        return 0.5 * (before_rad_per_s + wanted_rad_per_s)

    def _place_pedal(self) -> None:
        """At rest, make the next push start past the dead centre, wherever the crank is."""
        self._dead_centre_rad = self.crank_rad - _START_AFTER_DEAD_CENTRE_RAD

    def _ride(self, speed_m_per_s: float, elapsed_s: float) -> float:
        """The crank follows a recording within what the gears allow; the torque follows from its power.

        In the lowest gear the wheel holds the crank back: it stalls with the wheel, and the legs push for the
        recorded power with at most their strength. In the highest gear legs that push turn as fast as the
        wheel, up to LEG_FASTEST_RAD_PER_S; beyond, the crank hangs slack at the recorded cadence.
        """
        pushes = self.power_w > 0.0 and self.target_rad_per_s > 0.0
        lowest_gear_rad_per_s = speed_m_per_s * _TURN_RAD / self._development_low_m
        highest_gear_rad_per_s = speed_m_per_s * _TURN_RAD / self._development_high_m
        wanted_rad_per_s = self.target_rad_per_s
        if pushes and wanted_rad_per_s < highest_gear_rad_per_s <= LEG_FASTEST_RAD_PER_S:
            wanted_rad_per_s = highest_gear_rad_per_s
        if self._leg_rad_per_s > lowest_gear_rad_per_s:
            self._leg_rad_per_s = lowest_gear_rad_per_s
        leg_rad_per_s = self._move_leg(min(wanted_rad_per_s, lowest_gear_rad_per_s), elapsed_s)
        twice_rad = 2.0 * (self.crank_rad - self._dead_centre_rad) + leg_rad_per_s * elapsed_s
        crank_rad_per_s = leg_rad_per_s * self._ripple_mean * (1.0 - self._ripple * sin(twice_rad))
        self.crank_rad_per_s = crank_rad_per_s = min(crank_rad_per_s, lowest_gear_rad_per_s)
        self.crank_rad += crank_rad_per_s * elapsed_s
        if not pushes or self._leg_rad_per_s < highest_gear_rad_per_s - _CAUGHT_UP_RAD_PER_S:
            if leg_rad_per_s == 0.0 and speed_m_per_s == 0.0:
                self._place_pedal()
            self.delivered_power_w = 0.0
            return 0.0
        torque_nm = self._strength_nm
        if self.power_w < torque_nm * leg_rad_per_s:
            torque_nm = self.power_w / leg_rad_per_s
        development_m = self._development_low_m
        if leg_rad_per_s > _STILL_RAD_PER_S:
            development_m = max(speed_m_per_s * _TURN_RAD / leg_rad_per_s, development_m)
        return self._force_n(torque_nm, twice_rad, development_m, speed_m_per_s)

    def _follow(self, speed_m_per_s: float, elapsed_s: float) -> float:
        """The crank follows its target; the torque follows from the power."""
        leg_rad_per_s = self._move_leg(self.target_rad_per_s, elapsed_s)
        twice_rad = 2.0 * (self.crank_rad - self._dead_centre_rad) + leg_rad_per_s * elapsed_s
        # Speed is the integral of torque, so it varies a quarter period later; its mean stays the target.
        crank_rad_per_s = leg_rad_per_s * self._ripple_mean * (1.0 - self._ripple * sin(twice_rad))
        self.crank_rad_per_s = crank_rad_per_s
        self.crank_rad += crank_rad_per_s * elapsed_s
        if leg_rad_per_s < _STILL_RAD_PER_S or self.power_w <= 0.0:
            if leg_rad_per_s == 0.0 and speed_m_per_s == 0.0:
                self._place_pedal()
            self.delivered_power_w = 0.0
            return 0.0
        torque_nm = self.power_w / leg_rad_per_s
        if torque_nm > self._strength_nm:
            torque_nm = self._strength_nm
        development_m = speed_m_per_s * _TURN_RAD / leg_rad_per_s
        if development_m < self._development_low_m:
            # There is no lower gear: the force ends at the torque of this one.
            development_m = self._development_low_m
        return self._force_n(torque_nm, twice_rad, development_m, speed_m_per_s)

    def _push(self, speed_m_per_s: float, elapsed_s: float) -> float:
        """HOLD and EFFORT: the crank drives the wheel, or freewheels while the wheel is faster."""
        target_rad_per_s = self.target_rad_per_s
        development_m = self._gear_m(speed_m_per_s)
        wheel_rad_per_s = speed_m_per_s * _TURN_RAD / development_m
        wanted_rad_per_s = target_rad_per_s
        if self.mode == EFFORT and target_rad_per_s >= 0.0:
            wanted_rad_per_s = LEG_FASTEST_RAD_PER_S if self.power_w > 0.0 else 0.0
        # The crank can't turn forward faster than the wheel lets it.
        if self._leg_rad_per_s > wheel_rad_per_s:
            self._leg_rad_per_s = wheel_rad_per_s
        leg_rad_per_s = self._move_leg(min(wanted_rad_per_s, wheel_rad_per_s), elapsed_s)
        crank_rad = self.crank_rad + leg_rad_per_s * elapsed_s
        twice_rad = crank_rad + self.crank_rad - self._dead_centre_rad - self._dead_centre_rad
        self.crank_rad_per_s = self._leg_rad_per_s
        self.crank_rad = crank_rad
        # A small tolerance: the automatic gear meets the target only within rounding.
        if wanted_rad_per_s <= 0.0 or self._leg_rad_per_s < wheel_rad_per_s - _CAUGHT_UP_RAD_PER_S:
            if wanted_rad_per_s <= 0.0 and leg_rad_per_s == 0.0 and speed_m_per_s == 0.0:
                self._place_pedal()
            self.delivered_power_w = 0.0
            return 0.0
        torque_nm = self._torque_nm(wanted_rad_per_s, wheel_rad_per_s)
        return self._force_n(torque_nm, twice_rad, development_m, speed_m_per_s)

    def _gear_m(self, speed_m_per_s: float) -> float:
        """Return the development in use: the given one, or the automatic one."""
        if self.development_m > 0.0:
            return self.development_m
        if self.target_rad_per_s <= 0.0:
            return self._development_low_m
        wanted_m = speed_m_per_s * _TURN_RAD / self.target_rad_per_s
        if wanted_m < self._development_low_m:
            return self._development_low_m
        return min(wanted_m, self._development_high_m)

    def _torque_nm(self, wanted_rad_per_s: float, wheel_rad_per_s: float) -> float:
        """Return the mean torque of legs that have caught up with the wheel."""
        torque_nm = 0.0
        if self.mode == HOLD:
            missing_rad_per_s = wanted_rad_per_s - wheel_rad_per_s
            # Within the tolerance of `_push` the wheel may be faster; legs never apply negative torque.
            if missing_rad_per_s > 0.0:
                torque_nm = self._strength_nm * missing_rad_per_s / HOLD_BAND_RAD_PER_S
        if self.mode == EFFORT or self.development_m == 0.0:
            power_nm = self._strength_nm
            if self.power_w < power_nm * wheel_rad_per_s:
                power_nm = self.power_w / wheel_rad_per_s
            if self.mode == EFFORT or (power_nm > torque_nm and self.power_w > 0.0):
                torque_nm = power_nm
        return min(torque_nm, self._strength_nm)

    def _force_n(
        self, torque_nm: float, twice_rad: float, development_m: float, speed_m_per_s: float
    ) -> float:
        """Apply the torque profile over the turn and return the force at the rim."""
        torque_nm *= 1.0 - self._profile * cos(twice_rad)
        force_n = torque_nm * self._chain_efficiency * _TURN_RAD / development_m
        self.delivered_power_w = force_n * speed_m_per_s / self._chain_efficiency
        return force_n
