"""Lost wheel pulses, and extra ones that no magnet made."""

from random import Random

from host_sim.plant.wheel_sensor import WheelSensor


class WheelFaults:
    """Set by a fault: `lost_share` of the pulses, `noise_per_s` at random, `interference_per_s` evenly.

    Read: `active`.
    """

    __slots__ = ("_random", "active", "interference_per_s", "lost_share", "noise_per_s")

    def __init__(self, random: Random) -> None:
        """Start healthy; `random` is shared by the faults of a ride."""
        self._random = random
        self.active = False
        self.heal()

    def heal(self) -> None:
        """End every fault."""
        self.lost_share = 0.0
        self.noise_per_s = 0.0
        self.interference_per_s = 0.0

    def settle(self) -> None:
        """Apply the faults set now."""
        self.active = self.lost_share > 0.0 or self.noise_per_s > 0.0 or self.interference_per_s > 0.0

    def times_s(self, sensor: WheelSensor, count: int, start_us: int, elapsed_us: int) -> list[float]:
        """Return when rising edges arrive in this step of the plant, in order."""
        start_s = float(start_us) * 1e-6
        elapsed_s = float(elapsed_us) * 1e-6
        times_s: list[float] = []
        for index in range(count):
            if self.lost_share == 0.0 or self._random.random() >= self.lost_share:
                times_s.append(sensor.edge_times_s[index])
        if self.interference_per_s > 0.0:
            number = int(start_s * self.interference_per_s) + 1
            last = int(float(start_us + elapsed_us) * 1e-6 * self.interference_per_s)
            while number <= last:
                times_s.append(float(number) / self.interference_per_s)
                number += 1
        expected = self.noise_per_s * elapsed_s
        while expected > 0.0 and self._random.random() < expected:
            times_s.append(start_s + self._random.random() * elapsed_s)
            expected -= 1.0
        times_s.sort()
        return times_s
