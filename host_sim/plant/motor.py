"""A hub motor behind its motor controller, as a direct-current machine with a freewheel.

Voltage across the winding V = Ke w + I R, torque at the axle T = Kt (I - I0), Kt = Ke in SI units
(any text on direct-current machines). Speeds and torques are those of the wheel: a gear inside the
hub is part of the constant. Current below the no-load current I0 gives no torque. The freewheel inside the
hub lets the wheel turn faster than the motor, so the motor never brakes the wheel; it then turns freely.
"""

from math import exp, pi, sqrt

from host_sim.plant.limits import require

COPPER_PER_K = 0.00393  # Rise of copper resistance per kelvin, IEC 60034-1.
RESISTANCE_AT_CELSIUS = 25.0  # `resistance_ohm` is the winding at this temperature.
# Motor and battery use each other's current and voltage of the previous step. This smoothing of the voltage
# keeps that exchange stable for packs up to eight times as resistive as the winding (at 5 ms steps).
SUPPLY_SMOOTHING_S = 0.02
_SHARE_SETTLED = 1e-9  # The lag ends here: a decaying exponential would become a slow denormal number.
_SUPPLY_LOW_V = 0.1  # Below this the battery counts as disconnected.


class Motor:
    """Force at the wheel rim (`force_n`), current and heat from the command voltage."""

    __slots__ = (
        "_ambient_celsius",
        "_battery_limit_a",
        "_constant_nm_per_a",
        "_elapsed_s",
        "_heat_part",
        "_heat_s",
        "_lag_part",
        "_lag_s",
        "_motor_limit_a",
        "_no_load_a",
        "_rad_per_m",
        "_resistance_ohm",
        "_sets_torque",
        "_share",
        "_share_per_v",
        "_start_v",
        "_supply_part",
        "_supply_v",
        "_thermal_k_per_w",
        "battery_current_a",
        "force_n",
        "motor_current_a",
        "power_w",
        "temperature_celsius",
    )

    def __init__(
        self,
        kind: str,
        start_v: float,
        full_v: float,
        lag_s: float,
        torque_constant_nm_per_a: float,
        resistance_ohm: float,
        no_load_current_a: float,
        motor_current_limit_a: float,
        battery_current_limit_a: float,
        wheel_circumference_m: float,
        thermal_resistance_k_per_w: float,
        thermal_capacity_j_per_k: float,
        ambient_celsius: float,
    ) -> None:
        """Start cold and off; a value out of range raises ValueError.

        `kind` says what the command sets: "torque" a share of the motor current limit, "speed" a share of
        the battery voltage. The share is 0 up to `start_v` and 1 from `full_v` (0 to 5 V), follows with
        the first-order lag `lag_s`, and both current limits always hold.
        """
        if kind not in ("torque", "speed"):
            raise ValueError(f'kind must be "torque" or "speed", got {kind!r}')
        self._sets_torque = kind == "torque"
        self._start_v = require("start_v", start_v, 0.0, 5.0, "V")
        full_v = require("full_v", full_v, 0.0, 5.0, "V")
        if full_v < self._start_v + 0.1:
            raise ValueError(f"full_v must be at least 0.1 V above start_v, {start_v:g} V, got {full_v!r}")
        self._share_per_v = 1.0 / (full_v - self._start_v)
        self._lag_s = require("lag_s", lag_s, 0.001, 5.0, "s")
        constant = require("torque_constant_nm_per_a", torque_constant_nm_per_a, 0.01, 50.0, "N m/A")
        self._constant_nm_per_a = constant
        self._resistance_ohm = require("resistance_ohm", resistance_ohm, 0.005, 10.0, "ohm")
        self._motor_limit_a = require("motor_current_limit_a", motor_current_limit_a, 0.5, 500.0, "A")
        self._battery_limit_a = require("battery_current_limit_a", battery_current_limit_a, 0.5, 300.0, "A")
        least_limit_a = min(self._motor_limit_a, self._battery_limit_a)
        # Half of a limit, so that free turning never reaches it.
        self._no_load_a = require("no_load_current_a", no_load_current_a, 0.0, 0.5 * least_limit_a, "A")
        around_m = require("wheel_circumference_m", wheel_circumference_m, 0.3, 4.0, "m")
        self._rad_per_m = 2.0 * pi / around_m
        thermal = require("thermal_resistance_k_per_w", thermal_resistance_k_per_w, 0.01, 50.0, "K/W")
        self._thermal_k_per_w = thermal
        heat = require("thermal_capacity_j_per_k", thermal_capacity_j_per_k, 1.0, 1e5, "J/K")
        self._heat_s = thermal * heat
        self._ambient_celsius = require("ambient_celsius", ambient_celsius, -40.0, 60.0, "degrees Celsius")
        self.temperature_celsius = self._ambient_celsius
        self.battery_current_a = 0.0
        self.force_n = 0.0
        self.motor_current_a = 0.0
        self.power_w = 0.0
        self._share = 0.0
        self._supply_v = 0.0
        self._set_elapsed(0.005)

    def _set_elapsed(self, elapsed_s: float) -> None:
        """Compute the factors of the three lags for steps of this length: exact for a constant input."""
        self._elapsed_s = elapsed_s
        self._lag_part = 1.0 - exp(-elapsed_s / self._lag_s)
        self._supply_part = 1.0 - exp(-elapsed_s / SUPPLY_SMOOTHING_S)
        self._heat_part = 1.0 - exp(-elapsed_s / self._heat_s)

    def assisting(self) -> bool:
        """Whether the motor helps: its current is above the no-load current.

        Assistance has ended at zero or at the no-load current (EN 15194 3.23, by the parallel text
        TBIS 15194:2019).
        """
        return self.motor_current_a > self._no_load_a

    def step(self, command_v: float, battery_v: float, speed_m_per_s: float, elapsed_s: float) -> float:
        """Return the force at the rim, N (0 or more), for this step; currents, power and heat follow.

        `battery_v` is the voltage at the terminals, `power_w` what the battery gives. First order in
        `elapsed_s` in the coupling with speed and battery; the lags themselves are exact.
        """
        if elapsed_s != self._elapsed_s:
            self._set_elapsed(elapsed_s)
        share = self._follow_command(command_v)
        supply_v = self._supply_v
        if supply_v < _SUPPLY_LOW_V:
            supply_v = battery_v  # Just connected: no earlier voltage to smooth.
        else:
            supply_v += (battery_v - supply_v) * self._supply_part
        self._supply_v = supply_v
        if share == 0.0 or supply_v < _SUPPLY_LOW_V:
            return self._account(0.0, 0.0, 0.0, 0.0, battery_v)
        emf_v = self._constant_nm_per_a * self._rad_per_m * speed_m_per_s
        ohm = self._resistance_ohm * (1.0 + COPPER_PER_K * (self.temperature_celsius - RESISTANCE_AT_CELSIUS))
        current_a = self._current_a(share, supply_v, emf_v, ohm)
        if current_a <= self._no_load_a:
            return self._turn_freely(share, supply_v, ohm, battery_v)
        drawn_w = current_a * (emf_v + current_a * ohm)
        force_n = self._constant_nm_per_a * (current_a - self._no_load_a) * self._rad_per_m
        heat_w = drawn_w - force_n * speed_m_per_s
        return self._account(current_a, drawn_w / supply_v, heat_w, force_n, battery_v)

    def _follow_command(self, command_v: float) -> float:
        """Apply dead band and lag to the share; return its mean over the step."""
        wanted = (command_v - self._start_v) * self._share_per_v
        if wanted < 0.0:
            wanted = 0.0
        elif wanted > 1.0:
            wanted = 1.0
        before = self._share
        if -_SHARE_SETTLED < wanted - before < _SHARE_SETTLED:
            self._share = wanted
            return wanted
        self._share = after = before + (wanted - before) * self._lag_part
        return 0.5 * (before + after)

    def _current_a(self, share: float, supply_v: float, emf_v: float, ohm: float) -> float:
        """Return the motor current that the command requests, within both limits and available voltage."""
        if self._sets_torque:
            current_a = share * self._motor_limit_a
            possible_a = (supply_v - emf_v) / ohm
            if current_a > possible_a:
                current_a = possible_a
        else:
            current_a = (share * supply_v - emf_v) / ohm
            if current_a > self._motor_limit_a:
                current_a = self._motor_limit_a
        most_w = self._battery_limit_a * supply_v
        if current_a > 0.0 and current_a * (emf_v + current_a * ohm) > most_w:
            # The root of I (Ke w + I R) = limit.
            current_a = (sqrt(emf_v * emf_v + 4.0 * ohm * most_w) - emf_v) / (2.0 * ohm)
        return current_a

    def _turn_freely(self, share: float, supply_v: float, ohm: float, battery_v: float) -> float:
        """The freewheel disengages: the motor turns without load, or stands if the current is too small.

        Spinning up and down takes tenths of a second in reality and no time here.
        """
        current_a = self._no_load_a
        if self._sets_torque:
            asked_a = share * self._motor_limit_a
            drawn_w = current_a * supply_v
            if asked_a < current_a:
                current_a = asked_a
                drawn_w = asked_a * asked_a * ohm
        else:
            current_a = min(current_a, share * supply_v / ohm)
            drawn_w = current_a * share * supply_v
        return self._account(current_a, drawn_w / supply_v, drawn_w, 0.0, battery_v)

    def _account(
        self, current_a: float, battery_a: float, heat_w: float, force_n: float, battery_v: float
    ) -> float:
        """Store currents, power and temperature, and return the force."""
        self.motor_current_a = current_a
        self.battery_current_a = battery_a
        self.force_n = force_n
        self.power_w = battery_a * battery_v
        warm_celsius = self._ambient_celsius + heat_w * self._thermal_k_per_w
        self.temperature_celsius += (warm_celsius - self.temperature_celsius) * self._heat_part
        return force_n
