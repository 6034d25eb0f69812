"""Motor and battery alone: the output of the bench's battery at the measured command and speed.

Rider, road and controller are not included, so errors come only from the numbers of motor and battery.
"""

from dataclasses import dataclass

import numpy as np

from host_sim.bench.assemble import bench_for
from host_sim.bikes.model import Bike
from host_sim.comparing.measured import GRID_S, Measured, Series
from host_sim.comparing.predicted import SEED, charge_at_first

LONGEST_STEP_S = 0.1  # A longer gap between two steps counts as this much.


@dataclass(frozen=True, slots=True)
class DriveAlone:
    """Battery power and voltage, an entry for each GRID_S."""

    battery_w: Series
    battery_v: Series


def drive_alone(bike: Bike, ride: Measured) -> DriveAlone:
    """Step motor and battery of the bench through the log."""
    world = bench_for(bike, SEED).world
    motor, battery = world.motor, world.battery
    battery.charge = charge_at_first(bike, ride)
    battery.voltage_v = battery.open_circuit_v()
    count = len(ride.speed_m_per_s)
    grid_s = (np.arange(count) + 0.5) * GRID_S
    speeds = np.interp(ride.step_s, grid_s, ride.speed_m_per_s)
    elapsed = np.clip(np.diff(ride.step_s, prepend=0.0), 0.0, LONGEST_STEP_S)
    power_w = np.empty(len(ride.step_s))
    volts = np.empty(len(ride.step_s))
    command_v = 0.0
    for row in range(len(ride.step_s)):
        if elapsed[row] > 0.0:  # A step's output holds until the next one.
            motor.step(command_v, battery.voltage_v, float(speeds[row]), float(elapsed[row]))
            battery.step(motor.battery_current_a, float(elapsed[row]))
        command_v = float(ride.step_command_v[row])
        power_w[row] = motor.power_w
        volts[row] = battery.voltage_v
    bins = (ride.step_s / GRID_S).astype(np.intp)
    found = np.maximum(np.bincount(bins, minlength=count), 1)
    return DriveAlone(
        np.bincount(bins, weights=power_w, minlength=count) / found,
        np.bincount(bins, weights=volts, minlength=count) / found,
    )
