"""Bike files: examples, their format, and the settings that follow from them."""

from host_sim.bikes.load import example_names, load_bike, settings_of
from host_sim.bikes.model import Bike

__all__ = ["Bike", "example_names", "load_bike", "settings_of"]
