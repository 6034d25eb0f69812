"""Computes rise and fall rate of the command from mass, motor and a comfort limit on jerk.

A rate of command causes a jerk: jerk = rate x newtons at the rim per volt / mass. On a torque controller the
volt sets a current; on a speed controller it sets a voltage on the winding, which gives many times as much
force, up to the current limits.
"""

from math import pi

from host_sim.bikes.model import Bike

RATE_LEAST_MV_PER_S, RATE_MOST_MV_PER_S = 50, 10_000
FALL_LEAST_MV_PER_S = 1_000
# A fall of power is felt less than a rise, and it is the safe direction (common practice, no source).
FALL_OVER_RISE = 4.0


def push_n_per_v(bike: Bike) -> float:
    """Return the newtons at the rim that a volt of command adds, below the current limits."""
    motor, controller = bike.motor, bike.motor_controller
    share_per_v = 1.0 / (controller.full_v - controller.start_v)
    if controller.kind == "torque":
        a_per_v = motor.current_limit_a * share_per_v
    else:
        a_per_v = bike.battery.full_v * share_per_v / motor.resistance_ohm
    return a_per_v * motor.torque_constant_nm_per_a * 2.0 * pi / bike.bicycle.wheel_circumference_m


def empty_mass_kg(bike: Bike) -> float:
    """Return the mass to accelerate without load, rotating wheels included (m + I / r^2)."""
    bicycle = bike.bicycle
    turns = (2.0 * pi / bicycle.wheel_circumference_m) ** 2
    return bicycle.mass_kg - bicycle.load_kg + bicycle.wheel_inertia_kg_m2 * turns


def comfort_rise(bike: Bike, jerk_m_per_s3: float) -> int:
    """Return the legal rise rate, mV/s, at which the empty bicycle just meets the comfort limit on jerk."""
    return legal_rise(jerk_m_per_s3 * empty_mass_kg(bike) / push_n_per_v(bike) * 1000.0)


def legal_rise(rise_mv_per_s: float) -> int:
    """Return a rise rate in steps of 10 mV/s within its range."""
    return int(min(max(round(rise_mv_per_s / 10.0) * 10, RATE_LEAST_MV_PER_S), RATE_MOST_MV_PER_S))


def fall_for(bike: Bike, rise_mv_per_s: int) -> int:
    """Return the fall rate for a rise rate: four times as fast, and at least the whole range in a second."""
    settings = bike.firmware_settings
    whole_range = settings.command_max_mv - settings.command_start_mv
    fall = max(FALL_OVER_RISE * rise_mv_per_s, float(whole_range), FALL_LEAST_MV_PER_S)
    return int(min(round(fall / 50.0) * 50, RATE_MOST_MV_PER_S))
