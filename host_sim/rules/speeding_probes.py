"""Probes of speed: what the rules in `speeding` measure."""

from firmware.controller import Controller
from firmware.decide.ceilings import BY_BATTERY, BY_HEAT
from firmware.decide.engagement import ASSISTING
from firmware.records import Outputs
from host_sim.bench.clock import US_PER_S
from host_sim.bench.world import World
from host_sim.rules.case import Case
from host_sim.rules.probe import Probe
from host_sim.units import KM_PER_H_PER_M_PER_S

OVER_SPEED = 1.24  # Of the cut-off: the sweep goes to 1.25.
RIPPLE_WINDOW_S = 20.0


class HighestAssistedSpeed(Probe):
    """km/h, the highest at which the motor's current is above its no-load current."""

    def look(self, outputs: Outputs) -> None:
        """Measure while the motor helps."""
        if self.world.motor.assisting():
            self.saw(self.world.bicycle.speed_m_per_s * KM_PER_H_PER_M_PER_S)


class OverSpeedCommand(Probe):
    """Millivolts of command at 1.25 times the cut-off speed."""

    def look(self, outputs: Outputs) -> None:
        """Look where the bicycle is really so fast."""
        speed_mm_per_s = self.world.bicycle.speed_m_per_s * 1000.0
        if speed_mm_per_s > float(self.settings.cutoff_speed_mm_per_s) * OVER_SPEED:
            self.saw(float(outputs.command_mv))


class TaperRise(Probe):
    """Watts by which the speed ceiling rose although the speed did too.

    The battery's and the heat's ceilings are no functions of speed: they may rise while it does, a battery
    because it recovers as the help fades. Where one of them is the lowest, the speed ceiling can't be seen.
    """

    def begin(self, world: World, controller: Controller) -> None:
        """Start with no speed seen."""
        super().begin(world, controller)
        self._speed_mm_per_s = -1
        self._ceiling_w = 0

    def look(self, outputs: Outputs) -> None:
        """Compare with the last lower speed at which the speed ceiling could be seen."""
        ceilings = self.controller.ceilings
        if self.controller.engagement.state != ASSISTING or ceilings.lowest in (BY_BATTERY, BY_HEAT):
            return
        speed_mm_per_s = self.controller.wheel.speed_mm_per_s
        ceiling_w = ceilings.ceiling_w
        if self._speed_mm_per_s >= 0 and speed_mm_per_s > self._speed_mm_per_s:
            self.saw(float(ceiling_w - self._ceiling_w))
        self._speed_mm_per_s = speed_mm_per_s
        self._ceiling_w = ceiling_w


class PowerRipple(Probe):
    """Swing of battery power over the last 20 s of a steady ride, in percent of the assist power."""

    def __init__(self, case: Case) -> None:
        """Start with nothing seen."""
        super().__init__(case)
        self._from_us = int((case.course.seconds - RIPPLE_WINDOW_S) * US_PER_S)
        self._lowest_w = float("inf")
        self._highest_w = float("-inf")

    def look(self, outputs: Outputs) -> None:
        """Keep the extremes of the last 20 s."""
        if self.world.now_us >= self._from_us:
            power_w = self.world.motor.power_w
            self._lowest_w = min(self._lowest_w, power_w)
            self._highest_w = max(self._highest_w, power_w)

    def end(self) -> None:
        """Turn the extremes into a share."""
        if self._highest_w > 0.0:  # Else the road was too fast for any help.
            self.saw(100.0 * (self._highest_w - self._lowest_w) / float(max(self.settings.assist_power_w, 1)))


class HighestThrottleSpeed(Probe):
    """km/h, the highest that the throttle alone reaches."""

    def look(self, outputs: Outputs) -> None:
        """Keep the highest speed."""
        self.saw(self.world.bicycle.speed_m_per_s * KM_PER_H_PER_M_PER_S)


class ThrottleRelease(Probe):
    """Seconds from the closing of the throttle to the end of help."""

    def look(self, outputs: Outputs) -> None:
        """Measure while the motor still helps."""
        world = self.world
        if world.throttle_share == 0.0 and world.throttle_closed_us > 0:
            since_us = world.now_us - world.throttle_closed_us
            self.saw(since_us / US_PER_S if world.motor.assisting() else 0.0)


class EngagedTooSlow(Probe):
    """km/h by which the bicycle was slower than the least speed to engage when the pedals engaged."""

    def begin(self, world: World, controller: Controller) -> None:
        """Start not engaged."""
        super().begin(world, controller)
        self._assisting = False

    def look(self, outputs: Outputs) -> None:
        """Look at the moment of engaging."""
        assisting = self.controller.engagement.state == ASSISTING
        if assisting and not self._assisting:
            least = self.case.bike.place_profile.engage_km_per_h
            self.saw(least - self.world.bicycle.speed_m_per_s * KM_PER_H_PER_M_PER_S)
        self._assisting = assisting
