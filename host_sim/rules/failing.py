"""Rules about failures: latched faults, wires, sensors, stalls, the clock's wrap."""

from math import log

from firmware.ticks import CONTROL_PERIOD_US
from host_sim.bikes.model import Bike
from host_sim.rules import scenarios as rides
from host_sim.rules.failing_probes import (
    SILENCE_US,
    CommandAfterFault,
    CommandAfterOverrun,
    CommandAfterStall,
    CommandStanding,
    DriveInStall,
    ShuntLossLateness,
    StuckShuntHelp,
    WheelLossLateness,
    WireLateness,
    WrapDifference,
)
from host_sim.rules.rule import CAUSES, COMMON_PRACTICE, STATES, Rule
from host_sim.rules.stopping import EN
from host_sim.rules.stopping_probes import Engagements


def _wire_limit_ms(bike: Bike) -> float | None:
    if not bike.throttle.fitted and bike.selector.kind == "none":
        return None
    return (bike.firmware_settings.fault_samples + 1) * CONTROL_PERIOD_US / 1000.0


def _wheel_limit_s(bike: Bike) -> float:
    return bike.firmware_settings.wheel_lost_ms / 1000.0 + 0.5


def _shunt_limit_s(bike: Bike) -> float | None:
    """Add the rise to full command: only there can a missing current be distinguished from a small one."""
    if not bike.shunt.fitted:
        return None
    settings = bike.firmware_settings
    climb_s = (settings.command_max_mv - settings.command_start_mv) / settings.rise_mv_per_s
    return climb_s + 4.0 * settings.integral_ms / 1000.0 + 1.5


def _stall_limit_ms(bike: Bike) -> float:
    """Return the silence, the fall of the current from limit to no load (lag and a tenth), two steps."""
    least_a = max(bike.motor.no_load_current_a, 0.01 * bike.motor.current_limit_a)
    lags = max(log(bike.motor.current_limit_a / least_a), 3.0)
    return SILENCE_US / 1000.0 + 1100.0 * bike.motor_controller.lag_s * lags + 10.0


FAILING = (
    Rule(
        "a fault stays",
        "After a fault the command stays zero, however the rider pedals.",
        "mV",
        lambda bike: 0.0,
        EN.format("4.2.13.1 g"),
        rides.EVERY,
        CommandAfterFault,
        needs=(CAUSES,),
    ),
    Rule(
        "nothing from a standing crank",
        "Whatever fails, the command is zero while the crank stands still and the throttle is closed.",
        "mV",
        lambda bike: 0.0,
        EN.format("4.2.13.1 a, 4.3.22 (unintentional self-start)"),
        rides.EVERY,
        CommandStanding,
    ),
    Rule(
        "noise never engages",
        "Noise on the pedal sensor of a standing bicycle never engages the motor.",
        "times",
        lambda bike: 0.0,
        COMMON_PRACTICE,
        (rides.NOISE_AT_REST,),
        Engagements,
        needs=(STATES,),
    ),
    Rule(
        "lever wires",
        "If a lever wire breaks or touches its supply, help ends within the set number of samples.",
        "ms",
        _wire_limit_ms,
        COMMON_PRACTICE,
        (rides.LEVER_FAULTS,),
        WireLateness,
    ),
    Rule(
        "wheel sensor lost",
        "Without wheel pulses the motor drives for no longer than the set time.",
        "s",
        _wheel_limit_s,
        COMMON_PRACTICE,
        (rides.WHEEL_LOST,),
        WheelLossLateness,
    ),
    Rule(
        "shunt dead",
        "If the shunt reads no current for a second at full command, help ends.",
        "s",
        _shunt_limit_s,
        COMMON_PRACTICE,
        (rides.SHUNT_DEAD,),
        ShuntLossLateness,
    ),
    Rule(
        "shunt stuck",
        "A shunt with a stuck reading does not keep the motor running after pedalling stops.",
        "s",
        lambda bike: 1.0 if bike.shunt.fitted else None,
        COMMON_PRACTICE,
        (rides.SHUNT_STUCK,),
        StuckShuntHelp,
    ),
    Rule(
        "stalled loop",
        "When the loop stalls, the board ends help by itself.",
        "ms",
        _stall_limit_ms,
        COMMON_PRACTICE,
        (rides.STALLS,),
        DriveInStall,
    ),
    Rule(
        "no jump after a stall",
        "After a stall the command starts again from zero.",
        "mV",
        lambda bike: 0.0,
        COMMON_PRACTICE,
        (rides.STALLS,),
        CommandAfterStall,
    ),
    Rule(
        "clock wrap",
        "A wrap of the microcontroller's clock changes nothing in a ride.",
        "mV",
        lambda bike: 0.0,
        COMMON_PRACTICE,
        (rides.BACKWARD, rides.HILLY_RIDE),
        WrapDifference,
    ),
    Rule(
        "lost edges",
        "Help ends if crank edges come faster than the controller reads them.",
        "mV",
        lambda bike: 0.0,
        COMMON_PRACTICE,
        (rides.OVERRUN,),
        CommandAfterOverrun,
    ),
)
