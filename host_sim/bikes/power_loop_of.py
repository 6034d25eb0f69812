"""Starting values for the power loop of a bicycle, from its motor and motor controller."""

from math import pi, sqrt

from host_sim.bikes.model import Bike

# How soon the loop on a speed controller shall answer (judgement; tuning goes on from here), and what passes
# before it can: a period of 5 ms and half a period of holding.
_ANSWER_S = 0.15
_DEAD_TIME_S = 0.0075


def open_map_full_w(bike: Bike, power_limit_w: int, taper_start_mm_per_s: int) -> float:
    """Return the watts at full command for the map without a shunt, which nothing corrects.

    On a torque controller the command sets the motor current, and a current draws the more power the faster
    the motor turns: E I + R I^2, with E = Kt w. So the map is made for the speed at which the power begins to
    fade; below it less than what is allowed is drawn. A speed controller draws up to its own current limit at
    any command, so for it the map can only believe that limit.
    """
    controller, motor = bike.motor_controller, bike.motor
    most_w = controller.battery_current_limit_a * bike.battery.full_v
    if controller.kind == "speed":
        return most_w
    wheel_rad_per_s = taper_start_mm_per_s / 1000.0 / bike.bicycle.wheel_circumference_m * 2.0 * pi
    back_v = motor.torque_constant_nm_per_a * wheel_rad_per_s
    root_v = sqrt(back_v**2 + 4.0 * motor.resistance_ohm * power_limit_w)
    current_a = (root_v - back_v) / (2.0 * motor.resistance_ohm)
    return power_limit_w * motor.current_limit_a / current_a


def speed_loop(bike: Bike) -> dict[str, int]:
    """Return gain and integral time for a speed controller.

    Its command sets the voltage on the motor's resistance, so a millivolt moves many watts, at once but for
    the lag. The SIMC rule for a first-order lag: gain = lag / (k (answer + dead time)), integral time = lag
    (Skogestad, J. Process Control 13, 2003, 291-309).
    """
    controller = bike.motor_controller
    w_per_v = bike.battery.full_v**2 / bike.motor.resistance_ohm / (controller.full_v - controller.start_v)
    lag_s = max(controller.lag_s, 0.02)
    gain_v_per_w = lag_s / (w_per_v * (_ANSWER_S + _DEAD_TIME_S))
    return {
        "gain_uv_per_w": min(max(round(gain_v_per_w * 1e6), 1), 50_000),
        "integral_ms": round(lag_s * 1000.0),
    }
