"""Places: what a country or state allows, as numbers with their source; only a starting point.

The numbers are in places.toml. Laws change, and a town or a path may have rules of its own: whoever builds
a bicycle checks the local code, and a licensed workshop where the code asks for one.
"""

from pathlib import Path
from typing import Literal

from pydantic import Field

from host_sim.errors import RequestError
from host_sim.near_names import nearest
from host_sim.tomlfile import Table, load, within

PLACES = Path(__file__).resolve().parent / "places.toml"
WARNING = "starting point only, check your local code"

ThrottleUse = Literal["never", "below start-up speed", "freely"]


class Place(Table):
    """The limits of one place; `strict` means that the limit itself is no longer allowed.

    Speeds in km/h as the texts have them, powers in W of continuous rated motor power. `startup_km_per_h` is
    0 where the text knows no start-up assistance, `engage_km_per_h` 0 where it knows no least speed to
    engage, the cut-off distances are None where the text has none.
    """

    title: str = Field(min_length=1, max_length=80)
    power_limit_w: float = within(0, 5000)
    power_strict: bool
    cutoff_km_per_h: float = within(1, 100)
    cutoff_strict: bool
    cutoff_tolerance_percent: float = within(0, 20)
    taper_from_km_per_h: float | None = Field(default=None, ge=0, le=100)
    startup_km_per_h: float = within(0, 10)
    throttle_unpedalled: ThrottleUse
    engage_km_per_h: float = within(0, 10)
    cutoff_distance_m: float | None = Field(default=None, ge=0.5, le=20)
    cutoff_distance_all_brakes_m: float | None = Field(default=None, ge=0.5, le=20)
    brake_must_release: bool
    source: str = Field(min_length=1)
    clause: str = Field(min_length=1)
    date: str = Field(min_length=4)
    note: str = ""

    @property
    def warning(self) -> str:
        """The sentence that goes with every use of these numbers."""
        return WARNING


class PlaceWithoutProfile(Table):
    """A place whose rule this controller can't keep, and why."""

    title: str = Field(min_length=1, max_length=80)
    reason: str = Field(min_length=1)
    source: str = Field(min_length=1)


class PlacesTable(Table):
    """The file places.toml."""

    place: dict[str, Place]
    not_possible: dict[str, PlaceWithoutProfile]


def load_places() -> PlacesTable:
    """Return all places; RequestError if somebody has damaged the file."""
    return load(PLACES, PlacesTable)


def place_names() -> list[str]:
    """Return the names that a bike file may give as its place."""
    return list(load_places().place)


def load_place(name: str) -> Place:
    """Return one place by its name; RequestError tells what is known, or why a place has no profile."""
    table = load_places()
    if name in table.place:
        return table.place[name]
    if name in table.not_possible:
        raise RequestError(f'place "{name}" has no profile: {table.not_possible[name].reason}')
    names = list(table.place)
    near = nearest(name, names)
    hint = f"did you mean {near}? Known" if near else "known"
    raise RequestError(f'place "{name[:60]}" is not known, {hint} are {", ".join(names)}')
