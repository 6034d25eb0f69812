"""Rules about speed: cut-off, taper, start-up assistance, no drive where none may be."""

from firmware.controller import Controller
from firmware.decide.ceilings import BY_BATTERY, BY_HEAT
from firmware.decide.engagement import ASSISTING
from firmware.records import Outputs
from host_sim.bench.clock import US_PER_S
from host_sim.bench.world import World
from host_sim.bikes.model import Bike
from host_sim.rules import scenarios as rides
from host_sim.rules.case import Case
from host_sim.rules.rule import Probe, Rule
from host_sim.rules.stopping import EN

KM_PER_H_PER_M_PER_S = 3.6
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
        if speed_mm_per_s > self.settings.cutoff_speed_mm_per_s * OVER_SPEED:
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
            self.saw(100.0 * (self._highest_w - self._lowest_w) / max(self.settings.assist_power_w, 1))


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


def _cutoff_limit(bike: Bike) -> float:
    place = bike.place_profile
    return place.cutoff_km_per_h * (1.0 + place.cutoff_tolerance_percent / 100.0)


def _cutoff_strict(bike: Bike) -> bool:
    """A tolerance is up to and including; without one some texts say "before" or "less than"."""
    return bike.place_profile.cutoff_strict and bike.place_profile.cutoff_tolerance_percent == 0.0


def _startup_limit(bike: Bike) -> float | None:
    place = bike.place_profile
    if not bike.throttle.fitted or place.throttle_unpedalled == "freely":
        return None
    # Where the throttle alone may do nothing, the bicycle stays where it is.
    return place.startup_km_per_h if place.throttle_unpedalled == "below start-up speed" else 0.0


def _startup_cure(bike: Bike, measured: float, limit: float) -> str:
    settings = bike.firmware_settings
    way_m = settings.wheel_circumference_mm / settings.wheel_pulses_per_rev / 1000.0
    return (
        f"{settings.throttle_power_w} W and a wheel pulse every {way_m:.2f} m collide: the speed is "
        "known after two pulses. More pulses on the wheel, or a smaller throttle_power_w"
    )


SPEEDING = (
    Rule(
        "cut-off speed",
        "Help has ended at the cut-off speed, measured with the tolerance that the place allows.",
        "km/h",
        _cutoff_limit,
        EN.format("4.2.11.1, 3.23") + "; the place's own number in host_sim/rules/places.toml",
        (rides.SPEED_SWEEP,),
        HighestAssistedSpeed,
        strict=_cutoff_strict,
    ),
    Rule(
        "no drive over speed",
        "At 1.25 times the cut-off speed the command is zero.",
        "mV",
        lambda bike: 0.0,
        EN.format("4.2.11.2.2 c, d"),
        (rides.SPEED_SWEEP,),
        OverSpeedCommand,
    ),
    Rule(
        "taper falls",
        "The power that the speed allows never rises with speed.",
        "W",
        lambda bike: 0.0,
        EN.format("4.2.13.1 d"),
        (rides.SPEED_SWEEP,),
        TaperRise,
    ),
    Rule(
        "no hunting in the taper",
        "Riding steadily where help fades, the power settles.",
        "% of assist power",
        lambda bike: 25.0,
        EN.format("4.2.13.1 e (no hunting)") + "; the number is common practice, no source",
        (rides.STEADY_SPEED,),
        PowerRipple,
    ),
    Rule(
        "start-up speed",
        "The throttle alone, held for a minute, never brings the bicycle above the start-up speed.",
        "km/h",
        _startup_limit,
        EN.format("4.2.12.1, 4.2.12.2.2"),
        (rides.THROTTLE_FROM_REST,),
        HighestThrottleSpeed,
        cure=_startup_cure,
    ),
    Rule(
        "throttle release",
        "When the throttle closes, help ends.",
        "s",
        lambda bike: 0.4 if bike.throttle.fitted else None,
        EN.format("4.2.12.2.2 f") + "; the time is common practice, no source",
        (rides.THROTTLE_FROM_REST,),
        ThrottleRelease,
    ),
    Rule(
        "least speed to engage",
        "The pedals engage nothing below the least speed that the place asks for.",
        "km/h below",
        lambda bike: 0.2 if bike.place_profile.engage_km_per_h > 0.0 else None,
        "B.C. Reg. 151/2002 (separate on/off switch, or no engagement before 3 km/h)",
        (rides.SLOW_START, rides.HILLY_RIDE, rides.FIRST_EDGES),
        EngagedTooSlow,
    ),
)
