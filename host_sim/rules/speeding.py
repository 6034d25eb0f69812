"""Rules about speed: cut-off, taper, start-up assistance, no drive where none is allowed."""

from host_sim.bikes.model import Bike
from host_sim.rules import scenarios as rides
from host_sim.rules.rule import STATES, WATTS, Rule
from host_sim.rules.speeding_probes import (
    EngagedTooSlow,
    HighestAssistedSpeed,
    HighestThrottleSpeed,
    OverSpeedCommand,
    PowerRipple,
    TaperRise,
    ThrottleRelease,
)
from host_sim.rules.stopping import EN


def _cutoff_limit(bike: Bike) -> float:
    place = bike.place_profile
    return place.cutoff_km_per_h * (1.0 + place.cutoff_tolerance_percent / 100.0)


def _cutoff_strict(bike: Bike) -> bool:
    """A tolerance includes its limit; without a tolerance some texts say "before" or "less than"."""
    return bike.place_profile.cutoff_strict and bike.place_profile.cutoff_tolerance_percent == 0.0


def _startup_limit(bike: Bike) -> float | None:
    place = bike.place_profile
    if not bike.throttle.fitted or place.throttle_unpedalled == "freely":
        return None
    # Where the throttle alone is not allowed to drive, the bicycle must not move.
    return place.startup_km_per_h if place.throttle_unpedalled == "below start-up speed" else 0.0


def _startup_cure(bike: Bike, measured: float, limit: float) -> str:
    settings = bike.firmware_settings
    way_m = settings.wheel_circumference_mm / settings.wheel_pulses_per_rev / 1000.0
    return (
        f"{settings.throttle_power_w} W and a wheel pulse every {way_m:.2f} m conflict: the speed is "
        "known only after two pulses. Use more pulses on the wheel, or a smaller throttle_power_w"
    )


SPEEDING = (
    Rule(
        "cut-off speed",
        "Help has ended at the cut-off speed, within the tolerance that the place allows.",
        "km/h",
        _cutoff_limit,
        EN.format("4.2.11.1, 3.23") + "; the place's own number in host_sim/places/places.toml",
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
        "The allowed power never rises with speed.",
        "W",
        lambda bike: 0.0,
        EN.format("4.2.13.1 d"),
        (rides.SPEED_SWEEP,),
        TaperRise,
        needs=(STATES, WATTS),
    ),
    Rule(
        "no hunting in the taper",
        "At a steady speed within the taper the power settles.",
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
        "Help ends within this time after the throttle closes.",
        "s",
        lambda bike: 0.4 if bike.throttle.fitted else None,
        EN.format("4.2.12.2.2 f") + "; the time is common practice, no source",
        (rides.THROTTLE_FROM_REST,),
        ThrottleRelease,
    ),
    Rule(
        "least speed to engage",
        "Pedalling does not engage the motor below the lowest speed that the place allows for it.",
        "km/h below",
        lambda bike: 0.2 if bike.place_profile.engage_km_per_h > 0.0 else None,
        "B.C. Reg. 151/2002 (separate on/off switch, or no engagement before 3 km/h)",
        (rides.SLOW_START, rides.HILLY_RIDE, rides.FIRST_EDGES),
        EngagedTooSlow,
        needs=(STATES,),
    ),
)
