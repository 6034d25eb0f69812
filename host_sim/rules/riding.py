"""Shared by all scenarios: the time to rest, speeds of the bike, and the first stretch on the roller."""

from typing import Any

from host_sim.bikes.model import Bike
from host_sim.units import KM_PER_H_PER_MM_PER_S


def cutoff_km_per_h(bike: Bike) -> float:
    """Return the bike's cut-off speed setting."""
    return bike.firmware_settings.cutoff_speed_mm_per_s * KM_PER_H_PER_MM_PER_S


def taper_km_per_h(bike: Bike) -> float:
    """Return the speed at which the bike's power begins to fade."""
    return bike.firmware_settings.taper_start_mm_per_s * KM_PER_H_PER_MM_PER_S


def rest(bike: Bike) -> float:
    """Return a time in s after switching on by which the controls have certainly been seen at rest."""
    settings = bike.firmware_settings
    return 2.0 + 60.0 / (settings.pulses_per_rev * settings.release_rpm)


def on_roller(speed_km_per_h: float) -> dict[str, Any]:
    """Return the first stretch of a ride on the roller: the crank is free and still."""
    return {"at_s": 0, "cadence_rpm": 0, "crank_free": True, "roller_km_per_h": speed_km_per_h}
