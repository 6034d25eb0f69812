"""Estimates power, brakes and slope from the measured speed.

The force on the bicycle is its mass times its acceleration, plus rolling and air resistance; the motor's
force comes from its model. The remainder came from the riders if the crank turned, and from the brakes if
they were pulled. If neither can explain it, it was the slope or wind: riders don't brake with their legs, and
a crank at rest has no effect. A small remainder is ignored: a wrong rolling coefficient looks like that.
"""

from dataclasses import dataclass

import numpy as np

from host_sim.bench.assemble import bicycle_of
from host_sim.bench.recorded_effort import POWER_LEAST_W, POWER_MOST_W
from host_sim.bikes.model import Bike
from host_sim.comparing.measured import PER_SECOND, Measured, Series
from host_sim.plant.bicycle import GRAVITY_M_PER_S2

BRAKING_M_PER_S2 = 0.7  # Without a brake switch: roads usually cause less deceleration than this.
SLOPE_LEAST = 0.005
SLOPE_MOST = 0.25
STILL_RPM = 5.0
STANDING_M_PER_S = 0.3
BRAKE_LEAST = 0.05  # A lever that only operates its switch.


@dataclass(frozen=True, slots=True)
class Effort:
    """Entry i of each list holds from second i to i + 1; `grade` is rise over run."""

    rider_power_w: list[float]
    brake_share: list[float]
    grade: list[float]


def motor_force_n(bike: Bike, battery_w: Series, speed_m_per_s: Series) -> Series:
    """Return the motor's force (N) at the rim from the battery power: P = (E + R I) I, solved for I."""
    constant = bike.motor.torque_constant_nm_per_a * 2.0 * np.pi / bike.bicycle.wheel_circumference_m
    emf_v = constant * speed_m_per_s
    ohm = bike.motor.resistance_ohm
    current_a = (np.sqrt(emf_v**2 + 4.0 * ohm * np.maximum(battery_w, 0.0)) - emf_v) / (2.0 * ohm)
    return np.asarray(np.maximum(constant * (current_a - bike.motor.no_load_current_a), 0.0))


def effort_of(bike: Bike, ride: Measured) -> Effort:
    """Return power, brakes and slope for each second."""
    seconds = len(ride.speed_m_per_s) // PER_SECOND
    padded = np.pad(_by_second(ride.speed_m_per_s, seconds), 1, mode="edge")
    speed = np.convolve(padded, np.ones(3) / 3, "valid")
    gained = np.gradient(speed) if seconds > 1 else np.zeros(seconds)
    bicycle = bicycle_of(bike)
    inertia_kg = 2.0 * bicycle.kinetic_energy_j(1.0)
    road_n = np.array([bicycle.road_load_n(float(value), 0.0, 0.0) for value in speed])
    motor_n = motor_force_n(bike, _by_second(ride.battery_w, seconds), speed)
    rest_n = inertia_kg * gained + road_n - motor_n
    cadence = _by_second(ride.cadence_rpm, seconds)
    pulled = _by_second(ride.brake_pulled, seconds) > 0.0
    most_w = POWER_MOST_W * bike.rider.riders
    effort = Effort([0.0] * seconds, [0.0] * seconds, [0.0] * seconds)
    for second in range(seconds):
        force_n = float(rest_n[second])
        slows = -force_n / inertia_kg
        braked = bool(pulled[second]) if bike.brakes.switches != "none" else slows > BRAKING_M_PER_S2
        if braked:
            share = slows / bike.bicycle.brake_deceleration_m_per_s2
            effort.brake_share[second] = min(max(share, BRAKE_LEAST), 1.0)
        elif cadence[second] > STILL_RPM and force_n > 0.0:
            power_w = force_n * float(speed[second]) / bike.bicycle.chain_efficiency
            effort.rider_power_w[second] = min(power_w, most_w) if power_w >= POWER_LEAST_W else 0.0
        elif speed[second] > STANDING_M_PER_S:
            slope = -force_n / (bike.bicycle.mass_kg * GRAVITY_M_PER_S2)
            if abs(slope) > SLOPE_LEAST:
                effort.grade[second] = min(max(slope, -SLOPE_MOST), SLOPE_MOST)
    return effort


def _by_second(series: Series, seconds: int) -> Series:
    """Return the mean of each second."""
    return np.asarray(series[: seconds * PER_SECOND].reshape(seconds, PER_SECOND).mean(axis=1))
