"""Shared by all scenarios: the time to rest, and the cut-off speed."""

from host_sim.bikes.model import Bike
from host_sim.units import KM_PER_H_PER_MM_PER_S


def cutoff_km_per_h(bike: Bike) -> float:
    """Return the bike's cut-off speed setting."""
    return bike.firmware_settings.cutoff_speed_mm_per_s * KM_PER_H_PER_MM_PER_S


def rest(bike: Bike) -> float:
    """Return a time after switching on in which the controls are certainly seen at rest."""
    settings = bike.firmware_settings
    return 2.0 + 60.0 / (settings.pulses_per_rev * settings.release_rpm)
