"""The road alone: how the bicycle slows down without pedalling, brakes or motor.

Each such stretch begins at its measured speed. Slope and wind are unknown and assumed to be zero, so both
look like a wrong rolling coefficient or drag area.
"""

import numpy as np

from host_sim.bench.assemble import bicycle_of
from host_sim.bikes.model import Bike
from host_sim.comparing.measured import GRID_S, PER_SECOND, Measured, Series

STRETCH_LEAST_S = 4.0
SLOWEST_M_PER_S = 2.0
SETTLED_S = 1.0  # By then legs and motor have no effect; the speed is the mean of a turn of the wheel.
BRAKING_M_PER_S2 = 1.0  # A stronger deceleration is due to brakes, even without a brake switch.
STILL_RPM = 3.0


def coasting(ride: Measured) -> list[tuple[int, int]]:
    """Return the stretches in which the bicycle coasts: the first entry, and the one after the last."""
    free = (np.abs(ride.cadence_rpm) < STILL_RPM) & (ride.command_v == 0.0) & (ride.brake_pulled == 0.0)
    free &= ride.speed_m_per_s > SLOWEST_M_PER_S
    falls = np.zeros(len(free))
    falls[PER_SECOND:] = ride.speed_m_per_s[:-PER_SECOND] - ride.speed_m_per_s[PER_SECOND:]
    free &= falls < BRAKING_M_PER_S2
    edges = np.flatnonzero(np.diff(np.concatenate(([False], free, [False])).astype(int)))
    settled = round(SETTLED_S / GRID_S)
    found = [(int(start) + settled, int(end)) for start, end in edges.reshape(-1, 2)]
    return [(start, end) for start, end in found if (end - start) * GRID_S >= STRETCH_LEAST_S]


def road_alone(bike: Bike, ride: Measured, stretches: list[tuple[int, int]]) -> Series:
    """Return the predicted speed (m/s) in these stretches, NaN elsewhere."""
    speed = np.full(len(ride.speed_m_per_s), np.nan)
    for start, end in stretches:
        bicycle = bicycle_of(bike)
        bicycle.speed_m_per_s = float(ride.speed_m_per_s[start])
        for row in range(start, end):
            speed[row] = bicycle.speed_m_per_s
            bicycle.step(0.0, 0.0, 0.0, 0.0, GRID_S)
    return speed
