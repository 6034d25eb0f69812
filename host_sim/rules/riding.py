"""What all scenarios need: how long to rest, and where the cut-off lies."""

from host_sim.bikes.model import Bike
from host_sim.units import KM_PER_H_PER_MM_PER_S


def cutoff_km_per_h(bike: Bike) -> float:
    """Return the cut-off speed that the bike is set to."""
    return bike.firmware_settings.cutoff_speed_mm_per_s * KM_PER_H_PER_MM_PER_S


def rest(bike: Bike) -> float:
    """Return how long to stand after switching on until the controls have been at rest, generously."""
    settings = bike.firmware_settings
    return 2.0 + 60.0 / (settings.pulses_per_rev * settings.release_rpm)
