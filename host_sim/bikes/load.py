"""Bike files from disk: `load_bike` reads and checks one, and derives its settings."""

from pathlib import Path

from firmware.settings import Settings
from host_sim.bikes.fit import check_fit
from host_sim.bikes.model import Bike
from host_sim.bikes.settings_of import settings_from
from host_sim.errors import RequestError
from host_sim.places.limits import load_place
from host_sim.textfile import find_file, names_in, spoken
from host_sim.tomlfile import load

BIKES = Path(__file__).resolve().parent


def example_names() -> list[str]:
    """Return the names of the bike files that come with the package."""
    return names_in(BIKES, (".toml",))


def load_bike(path_or_name: str | Path) -> Bike:
    """Return a bike file, or one of our examples by its name; an error raises RequestError."""
    path = find_file(path_or_name, BIKES, (".toml",), "bike")
    bike = load(path, Bike)
    try:
        place = load_place(bike.place)
    except RequestError as error:
        raise RequestError(f"{spoken(path.name)}: {error}") from None
    try:
        check_fit(bike, place)
        bike.complete(path.stem, place, settings_from(bike, place))
    except ValueError as error:
        raise RequestError(f"{spoken(path.name)}: {error}") from None
    return bike


def settings_of(bike: Bike) -> Settings:
    """Return the settings of this bicycle's firmware."""
    return bike.firmware_settings
