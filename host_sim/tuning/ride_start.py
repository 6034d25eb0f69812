"""How all rides of tuning begin, whatever the settings are.

Before and after are only comparable on the same rides, so no part of a ride may depend on the settings that
are compared, not even how long the bicycle stands before pedalling begins.
"""

from firmware.settings import TABLE
from host_sim.bikes.model import Bike

DRAWS = 3
RELEASE_LEAST_RPM = next(row[2] for row in TABLE if row[0] == "release_rpm")


def longest_pitch_s(bike: Bike) -> float:
    """Return the time from magnet to magnet at the lowest release cadence allowed."""
    return 60.0 / (bike.pedal_sensor.pulses_per_rev * RELEASE_LEAST_RPM)


def rest_s(bike: Bike) -> float:
    """Return how long to stand after switching on, enough for any release cadence."""
    return 2.0 + longest_pitch_s(bike)


def draws_of(seed: int) -> list[int]:
    """Return the seeds of the rides for one seed of tuning; two seeds of tuning share none."""
    return [DRAWS * seed + number for number in range(DRAWS)]
