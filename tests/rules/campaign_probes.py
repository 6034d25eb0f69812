"""Probes of what is true while sensors fail: battery power over its limit, drive above the cut-off."""

from firmware.records import Outputs
from firmware.ticks import CONTROL_PERIOD_US
from host_sim.bench.clock import US_PER_S
from host_sim.bench.world import World
from host_sim.rules.case import Case
from host_sim.rules.probe import Probe

POWER_TOLERANCE = 1.1  # Times the limit: what is above counts.
# Times the cut-off speed: EN 15194:2017 4.2.11.1 allows 10 % when measured, by the parallel text
# TBIS 15194:2019.
SPEED_TOLERANCE = 1.1


class PowerExcess(Probe):
    """Joules by which the battery really gave more than 1.1 times the power limit, the most in one go."""

    def __init__(self, case: Case) -> None:
        """Start with none."""
        super().__init__(case)
        self._allowed_w = POWER_TOLERANCE * float(self.settings.power_limit_w)
        self._excess_j = 0.0
        self._last_us = 0

    def look(self, outputs: Outputs) -> None:
        """Add up what is above."""
        self._add(self.world)

    def look_unpowered(self, world: World) -> None:
        """Add up what the motor still takes without a controller."""
        self._add(world)

    def _add(self, world: World) -> None:
        elapsed_s = float(world.now_us - self._last_us) / US_PER_S
        self._last_us = world.now_us
        above_w = world.motor.power_w - self._allowed_w
        self._excess_j = self._excess_j + above_w * elapsed_s if above_w > 0.0 else 0.0
        self.saw(self._excess_j)


class LostWheelDrive(Probe):
    """Seconds of real drive above 1.1 times the cut-off speed while the wheel sensor is lost, in all."""

    def __init__(self, case: Case) -> None:
        """Start with none."""
        super().__init__(case)
        self._fast_m_per_s = SPEED_TOLERANCE * float(self.settings.cutoff_speed_mm_per_s) / 1000.0
        self._driven_us = 0

    def look(self, outputs: Outputs) -> None:
        """Count a period of drive."""
        world = self.world
        if not world.wheel_sensor.working and world.bicycle.speed_m_per_s > self._fast_m_per_s:
            if world.motor.assisting():
                self._driven_us = self._driven_us + CONTROL_PERIOD_US
            self.saw(float(self._driven_us) / US_PER_S)
