"""Rules about the end of help: forward pedalling only, cut-off distance, stop time, brake, nudges."""

from firmware.settings import DUTY_CODED, ONE_CHANNEL, TWO_CHANNELS
from firmware.ticks import CONTROL_PERIOD_US
from host_sim.bench.clock import US_PER_S
from host_sim.bikes.model import Bike
from host_sim.bikes.settings_of import cutoff_distance_m
from host_sim.rules import scenarios as rides
from host_sim.rules.rule import COMMON_PRACTICE, STATES, Rule
from host_sim.rules.stopping_probes import (
    BackwardEdges,
    BackwardHelp,
    BrakeLateness,
    CutoffDistance,
    Engagements,
    Lapses,
    RockingHelp,
    RunOnAfterNudge,
    StopLateness,
    edge_gap_share,
    release_gap_s,
)
from host_sim.units import KM_PER_H_PER_MM_PER_S

EN = "EN 15194:2017 {}, by the parallel text TBIS 15194:2019"
NUDGE_RUN_ON_S = 0.6


def backward_limit_s(bike: Bike) -> float:
    """Return how long help may last after the legs turn back: release gap, motor lag, two periods."""
    settings = bike.firmware_settings
    return release_gap_s(bike) + settings.motor_lag_ms / 1000.0 + 2.0 * CONTROL_PERIOD_US / US_PER_S


def _backward_edges_limit(bike: Bike) -> float | None:
    """Return backward_edges plus one that the step has not seen yet; whole pitches on a duty-coded ring."""
    settings = bike.firmware_settings
    if settings.sensor_kind == ONE_CHANNEL:
        return None  # "forward pedalling only" reports this case.
    if settings.sensor_kind == TWO_CHANNELS:
        return settings.backward_edges + 1.0
    return 2.0 * ((settings.backward_edges + 1) // 2) + 4.0


def distance_limit_m(bike: Bike) -> float:
    """Return the cut-off distance that the place allows, or the bike's own if the place states none."""
    distance_m = cutoff_distance_m(bike, bike.place_profile)
    return bike.firmware_settings.cutoff_distance_mm / 1000.0 if distance_m is None else distance_m


def _no_direction(bike: Bike, measured: float, limit: float) -> str:
    if bike.firmware_settings.sensor_kind == ONE_CHANNEL:
        return (
            "one channel can't tell forward from backward, or rocking from pedalling: "
            "fit a sensor with two channels, or a duty-coded one"
        )
    if bike.firmware_settings.sensor_kind == DUTY_CODED:
        return (
            "a duty-coded ring gives the direction once per pitch, from the lengths of its pulses: rocking "
            "over an edge can look like slow pedalling. Fit a sensor with two channels"
        )
    return "check lead and backward_edges"


def _distance_cure(bike: Bike, measured: float, limit: float) -> str:
    numbers = f"{measured:.2f} m against {limit:.2f} m"
    if bike.firmware_settings.sensor_kind == ONE_CHANNEL:
        return f"{numbers}, backward pedalling included: {_no_direction(bike, measured, limit)}"
    return (
        f"{numbers}: lower cutoff_distance_mm, correct motor_lag_ms, "
        "or fit a switch on every brake, if the place then allows more"
    )


STEADY_ABOVE_ENGAGE = 1.33
"""From this multiple of the engage cadence on, help has to be steady."""


def ring_can_show_rpm(bike: Bike) -> float:
    """Return the slowest cadence whose edges still come within the stop gap at the start of the taper."""
    settings = bike.firmware_settings
    speed_m_per_s = settings.taper_start_mm_per_s / 1000.0
    gap_s = settings.cutoff_distance_mm / 1000.0 / speed_m_per_s - settings.motor_lag_ms / 1000.0
    return 60.0 * edge_gap_share(settings) / (settings.pulses_per_rev * gap_s)


def shows_steady_pedalling(bike: Bike) -> bool:
    """Whether the ring has enough pulses for steady help at every cadence that asks for it."""
    return ring_can_show_rpm(bike) <= STEADY_ABOVE_ENGAGE * bike.firmware_settings.engage_rpm


def sparse_ring(bike: Bike) -> str:
    """Return why help can't be steady on a ring with so few pulses, and what would help."""
    settings = bike.firmware_settings
    speed = settings.taper_start_mm_per_s * KM_PER_H_PER_MM_PER_S
    return (
        f"{settings.pulses_per_rev} pulses, {settings.cutoff_distance_mm / 1000:g} m and {speed:.1f} km/h "
        f"conflict: below {ring_can_show_rpm(bike):.0f} rpm the next edge comes too late. Use more pulses, "
        "a second channel, a switch on every brake (if the place then allows more), or a lower cut-off speed"
    )


def _hunting_cure(bike: Bike, measured: float, limit: float) -> str:
    settings = bike.firmware_settings
    if ring_can_show_rpm(bike) > settings.release_rpm:
        return sparse_ring(bike)
    return f"engage_rpm {settings.engage_rpm} and release_rpm {settings.release_rpm} are too close"


STOPPING = (
    Rule(
        "forward pedalling only",
        "The motor helps only while the crank turns forward; after a reversal help ends as after a stop.",
        "s",
        backward_limit_s,
        EN.format("4.2.13.1 a"),
        (rides.BACKWARD, rides.HILLY_RIDE),
        BackwardHelp,
        cure=_no_direction,
    ),
    Rule(
        "cut-off distance",
        "After forward pedalling stops, help ends within this distance, the motor's lag included.",
        "m",
        distance_limit_m,
        EN.format("4.2.13.1 b, c"),
        (rides.SUDDEN_STOP, rides.FADING_LEGS, rides.HILLY_RIDE),
        CutoffDistance,
        cure=_distance_cure,
    ),
    Rule(
        "stop time",
        "The command is zero within the stop gap plus one control period after the last edge.",
        "ms late",
        lambda bike: CONTROL_PERIOD_US / 1000.0 + 1.0,
        "the stop gap as this project defines it; 60 / (pulses x release rpm) is common practice, no source",
        (rides.SUDDEN_STOP, rides.FADING_LEGS),
        StopLateness,
    ),
    Rule(
        "brake cut",
        "The command is zero one control period after the brake switch opens.",
        "ms",
        lambda bike: None if bike.brakes.switches == "none" else CONTROL_PERIOD_US / 1000.0,
        "B.C. Reg. 151/2002 s. 3 (disengage when the brake is applied); the time is this project's own",
        (rides.BRAKE_PULL, rides.HILLY_RIDE, rides.THROTTLE_STUCK),
        BrakeLateness,
    ),
    Rule(
        "nudge run-on",
        "After a nudge of up to a sixth of a turn, help ends within this time.",
        "s",
        lambda bike: NUDGE_RUN_ON_S,
        COMMON_PRACTICE,
        (rides.NUDGES,),
        RunOnAfterNudge,
    ),
    Rule(
        "rocking never engages",
        "Rocking the crank over an edge of the ring never engages the motor.",
        "times",
        lambda bike: 0.0,
        COMMON_PRACTICE,
        (rides.ROCKING,),
        Engagements,
        cure=_no_direction,
        needs=(STATES,),
    ),
    Rule(
        "rocking ends help",
        "If the rider rocks the crank over an edge instead of pedalling, help ends as after a stop.",
        "s",
        backward_limit_s,
        EN.format("4.2.13.1 a, b"),
        (rides.ROCKING_ON,),
        RockingHelp,
        cure=_no_direction,
    ),
    Rule(
        "backward edges",
        "The command is zero once the crank has turned backward by the set number of edges.",
        "edges",
        _backward_edges_limit,
        EN.format("4.2.13.1 a"),
        (rides.BACKWARD, rides.HILLY_RIDE),
        BackwardEdges,
        cure=_no_direction,
    ),
    Rule(
        "steady help",
        "At a third above the engage cadence or more, help goes on without a lapse, up to the cut-off.",
        "lapses",
        lambda bike: 0.0,
        COMMON_PRACTICE,
        (rides.SPEED_SWEEP, rides.SLOW_AT_SPEED),
        Lapses,
        cure=lambda bike, measured, limit: sparse_ring(bike),
        needs=(STATES,),
    ),
    Rule(
        "no hunting at the thresholds",
        "Steady pedalling at, just below or just above a threshold engages the motor at most twice.",
        "engagements",
        lambda bike: 2.0,
        EN.format("4.2.13.1 e (no hunting)"),
        (rides.STEADY_CADENCE,),
        Engagements,
        cure=_hunting_cure,
        needs=(STATES,),
    ),
)
