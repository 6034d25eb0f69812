"""Rules about power and command: range, rise rate, tracking, shares, fold-backs, start and first help."""

from firmware.settings import DUTY_CODED, TWO_CHANNELS
from host_sim.bikes.model import Bike
from host_sim.rules import scenarios as rides
from host_sim.rules.driving_probes import (
    BatteryExcess,
    CadenceShort,
    CommandBeforeRest,
    ContinuousPower,
    EdgesShort,
    FirstHelpAngle,
    HeatExcess,
    HelpDelay,
    HighestCommand,
    PowerExcess,
    Settling,
    ShareError,
    SteepestRise,
    Surge,
    Tracking,
)
from host_sim.rules.rule import COMMON_PRACTICE, STATES, WATTS, Limit, Rule
from host_sim.rules.stopping import EN


def _first_help_limit_deg(bike: Bike) -> float:
    """Return the angle of engage_edges, one edge more for where it starts, and 20 ms of a brisk crank."""
    settings = bike.firmware_settings
    pitch_deg = 360.0 / settings.pulses_per_rev
    uneven_deg = 2.0 * max((abs(error) for error in bike.pedal_sensor.magnet_errors_deg()), default=0.0)
    if settings.sensor_kind == TWO_CHANNELS:
        pitches = (settings.engage_edges + 1) / 4.0 + 0.25
    elif settings.sensor_kind == DUTY_CODED:
        pitches = settings.engage_edges / 2.0 + 1.5
    else:
        pitches = (settings.engage_edges + 1) / 2.0 + 0.25
    return pitches * pitch_deg + uneven_deg + bike.pedal_sensor.hysteresis_deg + 95.0 * 6.0 * 0.02


def _if_shunt(number: float) -> Limit:
    """Return a limit for bikes that measure their power."""
    return lambda bike: number if bike.shunt.fitted else None


def _surge_cure(bike: Bike, measured: float, limit: float) -> str:
    gain = bike.firmware_settings.gain_uv_per_w
    return f"gain_uv_per_w {gain} may be too high: try a third or two thirds of it, or raise integral_ms"


def _settling_cure(bike: Bike, measured: float, limit: float) -> str:
    settings = bike.firmware_settings
    return (
        f"gain_uv_per_w {settings.gain_uv_per_w}, integral_ms {settings.integral_ms} or rise_mv_per_s "
        f"{settings.rise_mv_per_s} is too slow, or the motor can't reach the power at this speed"
    )


def _resumed_cure(bike: Bike, measured: float, limit: float) -> str:
    settings = bike.firmware_settings
    return (
        f"rise_mv_per_s {settings.rise_mv_per_s} or seek_mv_per_s {settings.seek_mv_per_s} is too slow, "
        "or the motor data in the bike file are wrong by more than a fifth"
    )


def _foldback_cure(bike: Bike, measured: float, limit: float) -> str:
    settings = bike.firmware_settings
    if not bike.shunt.fitted:
        return (
            f"without a shunt the power is unknown: open_map_full_w {settings.open_map_full_w} is a guess. "
            "Fit a shunt, or raise open_map_full_w, which weakens all help"
        )
    return f"gain_uv_per_w {settings.gain_uv_per_w} or integral_ms {settings.integral_ms} is too slow"


DRIVING = (
    Rule(
        "output range",
        "The command never leaves its range.",
        "mV",
        lambda bike: float(bike.firmware_settings.command_max_mv),
        COMMON_PRACTICE,
        rides.EVERY,
        HighestCommand,
    ),
    Rule(
        "rise rate",
        "Except while it seeks the back-EMF, the command rises no faster than the rise rate (plus rounding).",
        "mV/s",
        lambda bike: bike.firmware_settings.rise_mv_per_s + 10.0,
        COMMON_PRACTICE + "; usual rates run from 200 to 10000 mV/s",
        rides.EVERY,
        SteepestRise,
    ),
    Rule(
        "two actions to start",
        "After every power-up the command stays zero until crank and throttle have both been at rest.",
        "mV",
        lambda bike: 0.0,
        EN.format("4.2.13.1 f"),
        (rides.TURNING_AT_POWER_UP, rides.BROWN_OUT, rides.FIRST_EDGES),
        CommandBeforeRest,
    ),
    Rule(
        "first help",
        "From rest, help begins within the crank angle that the engage edges take.",
        "degrees",
        _first_help_limit_deg,
        COMMON_PRACTICE,
        (rides.FIRST_EDGES,),
        FirstHelpAngle,
    ),
    Rule(
        "engage edges",
        "From rest, the motor engages only after the set number of edges.",
        "edges short",
        lambda bike: 0.0,
        COMMON_PRACTICE,
        (rides.FIRST_EDGES, rides.NUDGES),
        EdgesShort,
    ),
    Rule(
        "engage cadence",
        "The motor engages below the engage cadence by at most this (rounding, uneven legs).",
        "rpm short",
        lambda bike: 0.1 * bike.firmware_settings.engage_rpm + 1.0,
        COMMON_PRACTICE,
        (rides.STEADY_CADENCE, rides.FIRST_EDGES, rides.FADING_LEGS),
        CadenceShort,
        needs=(STATES,),
    ),
    Rule(
        "selector shares",
        "Each selector position asks for its share of the assist power.",
        "W",
        lambda bike: (
            None if bike.selector.kind == "none" else max(0.02 * bike.firmware_settings.assist_power_w, 2.0)
        ),
        COMMON_PRACTICE + " (three positions give about 0, a half and the whole)",
        (rides.SELECTOR_TOUR,),
        ShareError,
        needs=(STATES, WATTS),
    ),
    Rule(
        "power overshoot",
        "The first step to full power overshoots by at most this much.",
        "%",
        _if_shunt(30.0),
        COMMON_PRACTICE,
        (rides.POWER_STEPS,),
        Tracking,
        cure=_surge_cure,
        needs=(STATES, WATTS),
    ),
    Rule(
        "power settling",
        "After this time the power stays within a tenth of the allowed power.",
        "s",
        _if_shunt(8.0),
        COMMON_PRACTICE,
        (rides.POWER_STEPS,),
        Settling,
        cure=_settling_cure,
        needs=(STATES, WATTS),
    ),
    Rule(
        "help resumed at speed",
        "At 10 to 24 km/h a speed controller reaches half the allowed power within this time of engaging.",
        "s",
        lambda bike: 1.1 if bike.shunt.fitted and bike.motor_controller.kind == "speed" else None,
        COMMON_PRACTICE,
        (rides.HELP_RESUMED,),
        HelpDelay,
        cure=_resumed_cure,
        needs=(STATES, WATTS),
    ),
    Rule(
        "power when a slope begins",
        "When a slope slows the bicycle, the energy above 1.1 times the power limit stays within this.",
        "J",
        _if_shunt(40.0),
        COMMON_PRACTICE,
        (rides.SLOPE_BEGINS,),
        PowerExcess,
        cure=_surge_cure,
    ),
    Rule(
        "surge",
        "In steady riding the power swings by at most this much.",
        "% of what is allowed",
        _if_shunt(15.0),
        COMMON_PRACTICE,
        (rides.POWER_STEPS,),
        Surge,
        cure=_surge_cure,
        needs=(STATES, WATTS),
    ),
    Rule(
        "continuous power",
        "Battery power, averaged over 10 s, stays within 1.05 times the power limit.",
        "W",
        lambda bike: 1.05 * min(bike.place_profile.power_limit_w, bike.firmware_settings.power_limit_w),
        "the place's own number in host_sim/places/places.toml; mean and twentieth are this project's own",
        (rides.POWER_STEPS, rides.HILLY_RIDE),
        ContinuousPower,
    ),
    Rule(
        "battery fold-back",
        "As the battery runs low, power follows its fold-back down to zero.",
        "W above",
        lambda bike: 0.15 * bike.firmware_settings.power_limit_w,
        COMMON_PRACTICE,
        (rides.BATTERY_RUNS_LOW,),
        BatteryExcess,
        cure=_foldback_cure,
    ),
    Rule(
        "heat fold-back",
        "As the motor gets hot, power follows its fold-back down to zero.",
        "W above",
        lambda bike: (
            0.15 * bike.firmware_settings.power_limit_w if bike.motor.has_temperature_sensor else None
        ),
        COMMON_PRACTICE,
        (rides.MOTOR_GETS_HOT,),
        HeatExcess,
        cure=_foldback_cure,
    ),
)
