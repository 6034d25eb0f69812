"""A battery as a voltage behind a resistance.

The open-circuit voltage is a straight line from `empty_v` to `full_v` over the charge: a real cell
has knees at both ends, which no assist rule here depends on. No relaxation, no temperature, and no
battery management that switches off: an empty pack stays at `empty_v` and sags from there.
"""

from host_sim.plant.limits import require
from host_sim.units import S_PER_HOUR


class Battery:
    """Voltage at the terminals and charge left, from the current drawn."""

    __slots__ = ("_capacity_as", "_empty_v", "_resistance_ohm", "_span_v", "charge", "voltage_v")

    def __init__(
        self, full_v: float, empty_v: float, capacity_ah: float, resistance_ohm: float, charge: float
    ) -> None:
        """Start unloaded at `charge` (0 to 1); a value out of range raises ValueError.

        `full_v` 1 to 120 V, `empty_v` below it, `capacity_ah` 0.1 to 500, `resistance_ohm` 0.001 to 5.
        """
        full_v = require("full_v", full_v, 1.0, 120.0, "V")
        self._empty_v = require("empty_v", empty_v, 0.5, 120.0, "V")
        if self._empty_v >= full_v:
            raise ValueError(f"empty_v must be below full_v, {full_v:g} V, got {empty_v!r}")
        self._span_v = full_v - self._empty_v
        self._capacity_as = require("capacity_ah", capacity_ah, 0.1, 500.0, "Ah") * S_PER_HOUR
        self._resistance_ohm = require("resistance_ohm", resistance_ohm, 0.001, 5.0, "ohm")
        self.charge = require("charge", charge, 0.0, 1.0)
        self.voltage_v = self.open_circuit_v()

    def open_circuit_v(self) -> float:
        """Return the voltage without load at the present charge, V."""
        return self._empty_v + self._span_v * self.charge

    def step(self, current_a: float, elapsed_s: float) -> None:
        """Draw `current_a` (negative charges) for `elapsed_s`; the voltage is that at the end, 0 or more."""
        charge = self.charge - current_a * elapsed_s / self._capacity_as
        self.charge = charge = 0.0 if charge < 0.0 else 1.0 if charge > 1.0 else charge
        voltage_v = self._empty_v + self._span_v * charge - self._resistance_ohm * current_a
        self.voltage_v = voltage_v if voltage_v > 0.0 else 0.0
