"""Starting values for the power loop of a bicycle, from its motor and motor controller."""

from math import pi, sqrt

from firmware.settings import MOTOR_SPEED, MOTOR_TORQUE
from host_sim.bikes.model import Bike

# The response time of the loop (judgement; tuning starts from here), the dead time before it (a period of
# 5 ms and half a period of holding), and how long the firmware smooths the current.
_ANSWER_S = 0.15
_DEAD_TIME_S = 0.0075
_SMOOTHING_S = 0.02


def open_map_full_w(bike: Bike, power_limit_w: int, taper_start_mm_per_s: int) -> float:
    """Return the watts at full command for the map that is used without a shunt, with no correction.

    On a torque controller the command sets the motor current, which draws more power the faster the motor
    turns: E I + R I^2, with E = Kt w. So the map is computed for the speed at which the power begins to fade;
    below it the motor draws less than the limit. A speed controller draws up to its own current limit at any
    command, so for it the map can only use that limit.
    """
    controller, motor = bike.motor_controller, bike.motor
    if controller.kind == "speed":
        return controller.battery_current_limit_a * bike.battery.full_v
    current_a = _motor_current_a(bike, power_limit_w, taper_start_mm_per_s)
    return power_limit_w * motor.current_limit_a / current_a


def power_loop(bike: Bike, power_limit_w: int, taper_start_mm_per_s: int) -> dict[str, int]:
    """Return gain and integral time by the SIMC rule, for where a volt of command moves the most watts.

    For a first-order lag: gain = lag / (k (answer + dead time)), integral time = lag (Skogestad, J. Process
    Control 13, 2003, 291-309). k, in watts per volt: on a speed controller the command sets the voltage on
    the motor's resistance, U^2 / R; on a torque controller the motor current, E + 2 R I times its limit,
    where the power begins to fade. The lag is that of the power stage and of the firmware's own smoothing.
    """
    controller, motor = bike.motor_controller, bike.motor
    if controller.kind == "speed":
        most_w = bike.battery.full_v**2 / motor.resistance_ohm
    else:
        current_a = _motor_current_a(bike, power_limit_w, taper_start_mm_per_s)
        back_v = _back_v(bike, taper_start_mm_per_s)
        most_w = (back_v + 2.0 * motor.resistance_ohm * current_a) * motor.current_limit_a
    w_per_v = most_w / (controller.full_v - controller.start_v)
    lag_s = controller.lag_s + _SMOOTHING_S
    gain_v_per_w = lag_s / (w_per_v * (_ANSWER_S + _DEAD_TIME_S))
    return {
        "gain_uv_per_w": min(max(round(gain_v_per_w * 1e6), 1), 50_000),
        "integral_ms": round(lag_s * 1000.0),
    }


def motor_model(bike: Bike) -> dict[str, int]:
    """Return the settings of the firmware's motor model for motor and motor controller."""
    motor, controller = bike.motor, bike.motor_controller
    back_emf_v = motor.torque_constant_nm_per_a * 2.0 * pi / bike.bicycle.wheel_circumference_m
    return {
        "motor_kind": MOTOR_SPEED if controller.kind == "speed" else MOTOR_TORQUE,
        "back_emf_mv_per_m_per_s": min(max(round(back_emf_v * 1000.0), 100), 30_000),
        "motor_resistance_mohm": round(motor.resistance_ohm * 1000.0),
        "motor_current_limit_ma": round(motor.current_limit_a * 1000.0),
        "battery_current_limit_ma": round(controller.battery_current_limit_a * 1000.0),
        "no_load_current_ma": round(motor.no_load_current_a * 1000.0),
    }


def _back_v(bike: Bike, speed_mm_per_s: int) -> float:
    wheel_rad_per_s = speed_mm_per_s / 1000.0 / bike.bicycle.wheel_circumference_m * 2.0 * pi
    return bike.motor.torque_constant_nm_per_a * wheel_rad_per_s


def _motor_current_a(bike: Bike, power_w: int, speed_mm_per_s: int) -> float:
    """Return the motor current that draws `power_w` at a speed: E I + R I^2 = P."""
    back_v = _back_v(bike, speed_mm_per_s)
    root_v = sqrt(back_v**2 + 4.0 * bike.motor.resistance_ohm * power_w)
    return (root_v - back_v) / (2.0 * bike.motor.resistance_ohm)
