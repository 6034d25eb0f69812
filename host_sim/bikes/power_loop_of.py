"""Starting values for the power loop of a bicycle, from its motor and motor controller."""

from math import pi, sqrt

from firmware.settings import MOTOR_SPEED, MOTOR_TORQUE, TABLE
from host_sim.bikes.model import Bike

# What passes before the loop can answer (a period of 5 ms and half a period of holding), and how long the
# firmware smooths the current (firmware/sense/supply.py).
_DEAD_TIME_S = 0.0075
_SMOOTHING_S = 0.02
# How soon the loop shall answer, in dead times. On a speed controller every change of speed changes the
# current at once, so there the tight setting of the rule, 1. A torque controller holds the current by itself:
# five times as slow is as good on every ride and swings less with noise (measured; tests/tuning/README.md).
_ANSWER_DEAD_TIMES = {"speed": 1.0, "torque": 5.0}
INTEGRAL_LEAST_MS = next(row[2] for row in TABLE if row[0] == "integral_ms")


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
    current_a = motor_current_a(bike, power_limit_w, taper_start_mm_per_s / 1000.0)
    return power_limit_w * motor.current_limit_a / current_a


def power_loop(bike: Bike, power_limit_w: int, taper_start_mm_per_s: int) -> dict[str, int]:
    """Return gain and integral time by the SIMC rule, for where a volt of command moves the most watts.

    By the half rule the plant is one lag, that of the power stage and half of the smoothing, and a dead time
    with the other half. Gain = lag / (k (answer + dead time)), integral time = lag or 4 (answer + dead time),
    the lesser (Skogestad, J. Process Control 13, 2003, 291-309).
    """
    dead_time_s = _DEAD_TIME_S + _SMOOTHING_S / 2.0
    lag_s = bike.motor_controller.lag_s + _SMOOTHING_S / 2.0
    after_s = (_ANSWER_DEAD_TIMES[bike.motor_controller.kind] + 1.0) * dead_time_s
    gain_v_per_w = lag_s / (most_w_per_v(bike, power_limit_w, taper_start_mm_per_s) * after_s)
    return {
        "gain_uv_per_w": min(max(round(gain_v_per_w * 1e6), 1), 50_000),
        "integral_ms": max(round(min(lag_s, 4.0 * after_s) * 1000.0), INTEGRAL_LEAST_MS),
    }


def most_w_per_v(bike: Bike, power_limit_w: int, taper_start_mm_per_s: int) -> float:
    """Return the watts that a volt of command moves at full power, where power fades, on a full battery.

    On a torque controller the command sets the motor current: dP/dI = E + 2 R I, times its limit. On a speed
    controller it sets the share d of the battery's voltage U under load: P = U d I with d U = E + R I, so
    dP/dd = U I + d U dI/dd, dI/dd = U / (R + d^2 Rb), where Rb is the battery's resistance.
    """
    controller, motor = bike.motor_controller, bike.motor
    current_a = motor_current_a(bike, power_limit_w, taper_start_mm_per_s / 1000.0)
    back_v = back_emf_v(bike, taper_start_mm_per_s / 1000.0)
    if controller.kind == "speed":
        battery = bike.battery
        loaded_v = battery.full_v - battery.resistance_ohm * power_limit_w / battery.full_v
        share = min((back_v + motor.resistance_ohm * current_a) / loaded_v, 1.0)
        a_per_share = loaded_v / (motor.resistance_ohm + share**2 * battery.resistance_ohm)
        most_w = loaded_v * (current_a + share * a_per_share)
    else:
        most_w = (back_v + 2.0 * motor.resistance_ohm * current_a) * motor.current_limit_a
    return most_w / (controller.full_v - controller.start_v)


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


def back_emf_v(bike: Bike, speed_m_per_s: float) -> float:
    """Return the back-EMF of the motor at a speed of the bicycle, V."""
    rad_per_s = speed_m_per_s / bike.bicycle.wheel_circumference_m * 2.0 * pi
    return bike.motor.torque_constant_nm_per_a * rad_per_s


def motor_current_a(bike: Bike, power_w: float, speed_m_per_s: float) -> float:
    """Return the motor current that draws `power_w` at a speed, without any limit: E I + R I^2 = P."""
    back_v = back_emf_v(bike, speed_m_per_s)
    root_v = sqrt(back_v**2 + 4.0 * bike.motor.resistance_ohm * power_w)
    return (root_v - back_v) / (2.0 * bike.motor.resistance_ohm)
