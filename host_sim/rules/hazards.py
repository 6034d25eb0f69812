"""The hazard table: what can hurt somebody, what detects it, and what is left that no software can see.

The table is hazards.toml; HAZARDS.md is made from it and held to it by a test. Cells of the fault matrix that
no software can see refer to an entry, with the size that is allowed there.
"""

from pathlib import Path
from typing import Literal

from pydantic import Field

from host_sim.bikes.model import Bike
from host_sim.tomlfile import Table, load

HAZARDS = Path(__file__).resolve().parent / "hazards.toml"

Where = Literal[
    "every bike",
    "speed controller",
    "torque controller",
    "one channel",
    "duty-coded",
    "no shunt",
    "with shunt",
]


class Unseen(Table):
    """A row of the fault matrix in which an excess is left, on which bikes, why, and at most how large.

    `power_percent`: peak of true battery power over the power limit. `over_power_j`, `over_speed_s`,
    `run_on_s`, `braked_s`: as in the matrix, within the 20 to 31 s of a cell; where a fault lasts, so
    does what is left. What is not named stays within the ordinary limit.
    """

    row: str = Field(min_length=1, max_length=60)
    where: Where
    reason: str = Field(min_length=1)
    power_percent: float | None = Field(default=None, ge=100, le=1000)
    over_power_j: float | None = Field(default=None, ge=0, le=1e5)
    over_speed_s: float | None = Field(default=None, ge=0, le=60)
    run_on_s: float | None = Field(default=None, ge=0, le=60)
    braked_s: float | None = Field(default=None, ge=0, le=60)

    def applies(self, bike: Bike) -> bool:
        """Tell whether this bike is one of those."""
        return {
            "every bike": True,
            "speed controller": bike.motor_controller.kind == "speed",
            "torque controller": bike.motor_controller.kind == "torque",
            "one channel": bike.pedal_sensor.kind == "one channel",
            "duty-coded": bike.pedal_sensor.kind == "duty-coded",
            "no shunt": not bike.shunt.fitted,
            "with shunt": bike.shunt.fitted,
        }[self.where]


class Hazard(Table):
    """One hazard; texts are whole sentences or lists of short ones."""

    name: str = Field(min_length=1, max_length=60)
    hazard: str = Field(min_length=1)
    causes: list[str] = Field(min_length=1)
    detected_by: str = Field(min_length=1)
    within: str = Field(min_length=1)
    shown_by: list[str] = Field(min_length=1)
    left: str = Field(min_length=1)
    covered_by: str = Field(min_length=1)
    unseen: list[Unseen] = []


class HazardTable(Table):
    """The file hazards.toml."""

    caution: list[str] = Field(min_length=3)
    hazard: list[Hazard] = Field(min_length=1)


def load_hazards() -> HazardTable:
    """Return the table; RequestError if somebody has damaged the file."""
    return load(HAZARDS, HazardTable)


def unseen_of(table: HazardTable, row: str, bike: Bike) -> tuple[Hazard, Unseen] | None:
    """Return the entry that a row of the matrix refers to on this bike, or None."""
    for hazard in table.hazard:
        for unseen in hazard.unseen:
            if unseen.row == row and unseen.applies(bike):
                return hazard, unseen
    return None
