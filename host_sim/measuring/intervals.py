"""How accurately each number of a bike file is known: its interval, or ±20 %.

`treadle measure --write` puts the interval into the comment of the line. A number without such a comment was
read from a part, estimated or copied: it may be wrong by a fifth.
"""

import contextlib
import re
from dataclasses import dataclass
from pathlib import Path

import tomlkit
from tomlkit.exceptions import TOMLKitError
from tomlkit.items import Table

from host_sim.bikes.model import Bike
from host_sim.errors import RequestError
from host_sim.textfile import TOML_BYTES_MAX, read_text, spoken

UNKNOWN_SHARE = 0.2
_MEASURED = re.compile(r"measured by [^;]*?, 95 % (?P<low>[\d.eE+-]+) to (?P<high>[\d.eE+-]+)")


@dataclass(frozen=True, slots=True)
class Number:
    """A number of a bike file: its section and key, its unit, and its name in words."""

    section: str
    key: str
    unit: str
    words: str

    @property
    def name(self) -> str:
        """Section and key as in the file."""
        return f"{self.section}.{self.key}"

    def of(self, bike: Bike) -> float:
        """Return its value in `bike`."""
        return float(getattr(getattr(bike, self.section), self.key))

    def changed(self, bike: Bike, value: float) -> Bike:
        """Return the bike with another value, which is not checked, and the same settings."""
        table = getattr(bike, self.section).model_copy(update={self.key: value})
        return bike.model_copy(update={self.section: table})


class TotalMass(Number):
    """The mass of bicycle, rider and load, which a file has as three numbers."""

    __slots__ = ()

    def changed(self, bike: Bike, value: float) -> Bike:
        """Return the bike with a load that gives this total."""
        load_kg = bike.bicycle.load_kg + value - bike.bicycle.mass_kg
        return bike.model_copy(update={"bicycle": bike.bicycle.model_copy(update={"load_kg": load_kg})})


@dataclass(frozen=True, slots=True)
class Interval:
    """From `low` to `high`; `measured` if the bike file has a measured interval."""

    low: float
    high: float
    measured: bool


ROAD = (
    Number("bicycle", "rolling_coefficient", "", "rolling coefficient"),
    Number("bicycle", "drag_area_m2", "m2", "drag area"),
)
# Coasting depends on these as well, but can't distinguish them from the two above.
ALIKE_ON_THE_ROAD = (
    TotalMass("bicycle", "mass_kg", "kg", "mass of bicycle, rider and load"),
    Number("bicycle", "wheel_circumference_m", "m", "circumference of the wheel"),
)
WHEEL_PULSES = Number("wheel_sensor", "pulses_per_rev", "", "pulses of the wheel sensor per turn")
DRIVE = (
    Number("battery", "resistance_ohm", "ohm", "resistance of the battery"),
    Number("motor", "torque_constant_nm_per_a", "N m/A", "torque constant of the motor"),
    Number("motor", "resistance_ohm", "ohm", "resistance of the motor"),
    Number("motor", "no_load_current_a", "A", "no-load current of the motor"),
    Number("motor", "current_limit_a", "A", "current limit of the motor"),
    Number("motor_controller", "start_v", "V", "command at which the motor controller starts"),
    Number("motor_controller", "full_v", "V", "command for full output of the motor controller"),
    Number("motor_controller", "lag_s", "s", "lag of the motor controller"),
)


def intervals(path: Path, bike: Bike, numbers: tuple[Number, ...]) -> dict[Number, Interval]:
    """Return the interval of each number of the bike file at `path`; RequestError if it is not TOML."""
    try:
        document = tomlkit.parse(read_text(path, TOML_BYTES_MAX))
    except TOMLKitError as error:
        raise RequestError(f"{spoken(path.name)}: this is not TOML: {error}") from None
    return {number: _interval(document, number, number.of(bike)) for number in numbers}


def _interval(document: tomlkit.TOMLDocument, number: Number, value: float) -> Interval:
    table = document.get(number.section)
    comment = ""
    if isinstance(table, Table) and number.key in table:
        comment = table[number.key].trivia.comment
    if (measured := _MEASURED.search(comment)) is not None:
        with contextlib.suppress(ValueError):
            low, high = float(measured["low"]), float(measured["high"])
            if low <= value <= high and low < high:
                return Interval(low, high, measured=True)
    return Interval(value * (1.0 - UNKNOWN_SHARE), value * (1.0 + UNKNOWN_SHARE), measured=False)
