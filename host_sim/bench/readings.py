"""All readings that are measured as voltages, and their faults on the way to the controller."""

from random import Random

from firmware.records import Inputs
from host_sim.bench.distortion import Distortion
from host_sim.bench.noise import Noise

# Readings of the converters without contact, and their lowest and highest values.
LEVER_MV = (0, 0, 5_000)
BATTERY_MV = (0, 0, 100_000)
CURRENT_MA = (0, 0, 40_000)
HEAT_DECICELSIUS = (-500, -500, 3_000)
BRAKE_PULLED = (1, 0, 1)  # 1 means pulled: an open switch and a broken wire look the same.


class Readings:
    """Faults of `throttle`, `selector`, `battery`, `shunt`, `heat` and `brake`; `faulty` if any has one."""

    __slots__ = ("battery", "brake", "faulty", "heat", "selector", "shunt", "throttle")

    def __init__(self, random: Random, noise: Noise) -> None:
        """Start healthy; `random` and `noise` are shared by all."""
        self.throttle = Distortion(*LEVER_MV, random, noise)
        self.selector = Distortion(*LEVER_MV, random, noise)
        self.battery = Distortion(*BATTERY_MV, random, noise)
        self.shunt = Distortion(*CURRENT_MA, random, noise)
        self.heat = Distortion(*HEAT_DECICELSIUS, random, noise)
        self.brake = Distortion(*BRAKE_PULLED, random, noise)
        self.faulty = False

    def all_of_them(self) -> list[Distortion]:
        """Return all readings."""
        return [self.throttle, self.selector, self.battery, self.shunt, self.heat, self.brake]

    def heal(self) -> None:
        """End every fault."""
        for reading in self.all_of_them():
            reading.heal()

    def settle(self, now_us: int) -> None:
        """Apply the faults set at `now_us`."""
        self.faulty = False
        for reading in self.all_of_them():
            reading.settle(now_us)
            self.faulty = self.faulty or reading.faulty()

    def distort(self, inputs: Inputs, now_us: int) -> None:
        """Apply the faults to the readings at `now_us`."""
        inputs.throttle_mv = self.throttle.reading(inputs.throttle_mv, now_us)
        inputs.selector_mv = self.selector.reading(inputs.selector_mv, now_us)
        inputs.battery_mv = self.battery.reading(inputs.battery_mv, now_us)
        inputs.current_ma = self.shunt.reading(inputs.current_ma, now_us)
        inputs.motor_decicelsius = self.heat.reading(inputs.motor_decicelsius, now_us)
        inputs.brake_pulled = self.brake.reading(1 if inputs.brake_pulled else 0, now_us) == 1
