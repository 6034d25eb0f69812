"""The desk board's motor and battery for the bench, as simple as in `boards/desk/rider.py`."""

from firmware.settings import Settings
from host_sim.plant.battery import Battery
from host_sim.plant.motor import Motor

MA_PER_MV = 6  # Above the dead band; a test compares these numbers with the desk's own.
_BELOW_FULL_V = 0.5
_RESISTANCE_OHM = 0.1


class DeskMotor(Motor):
    """A motor whose current follows the command at once, whatever the wheel does, and that gives no force."""

    __slots__ = ("_start_of_current_v",)

    def __init__(self, settings: Settings) -> None:
        """Start cold and off."""
        self._start_of_current_v = settings.command_start_mv / 1000.0
        self._no_load_a = 0.0
        self.temperature_celsius = 25.0
        self.battery_current_a = self.motor_current_a = self.power_w = self.force_n = 0.0

    def step(self, command_v: float, battery_v: float, speed_m_per_s: float, elapsed_s: float) -> float:
        """Set the current, and return the force: 0 N."""
        current_a = max(command_v - self._start_of_current_v, 0.0) * MA_PER_MV
        self.battery_current_a = self.motor_current_a = current_a
        self.power_w = current_a * battery_v
        return 0.0


class DeskBattery(Battery):
    """A battery half a volt below full, with an internal resistance of a tenth of an ohm."""

    __slots__ = ("_open_v",)

    def __init__(self, settings: Settings) -> None:
        """Start charged."""
        self._open_v = settings.battery_highest_mv / 1000.0 - _BELOW_FULL_V
        self.charge = 1.0
        self.voltage_v = self._open_v

    def step(self, current_a: float, elapsed_s: float) -> None:
        """Update the voltage, which sags with the current."""
        self.voltage_v = self._open_v - current_a * _RESISTANCE_OHM
