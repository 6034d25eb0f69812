"""The hazard table: what can hurt somebody, what detects it, and which risk remains.

The table is hazards.toml. HAZARDS.md is generated from it, and a test compares the two. A cell of the fault
matrix that no software can see refers to an entry, which states how large the excess may be.
"""

from pathlib import Path
from typing import Literal

from pydantic import Field

from host_sim.bikes.model import Bike
from host_sim.tomlfile import Table, load

HAZARDS = Path(__file__).resolve().parent / "hazards.toml"
PAGE = HAZARDS.with_name("HAZARDS.md")

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
    """An excess that remains in a row of the fault matrix: on which bikes, why, and how large at most.

    `power_percent`: peak of true battery power over the power limit. `over_power_j`, `over_speed_s`,
    `run_on_s`, `braked_s`: as in the matrix, within the 20 to 31 s of a cell; if the fault lasts longer, so
    does the excess. A quantity that is not given keeps its ordinary limit. `situation` and `up_to_km_per_h`
    restrict the entry to some cells of the row.
    """

    row: str = Field(min_length=1, max_length=60)
    where: Where
    reason: str = Field(min_length=1)
    situation: Literal["pedalling", "coasting", "throttle", "starting"] | None = None
    up_to_km_per_h: float | None = Field(default=None, gt=0, le=100)
    power_percent: float | None = Field(default=None, ge=100, le=1000)
    over_power_j: float | None = Field(default=None, ge=0, le=1e5)
    over_speed_s: float | None = Field(default=None, ge=0, le=60)
    run_on_s: float | None = Field(default=None, ge=0, le=60)
    braked_s: float | None = Field(default=None, ge=0, le=60)

    def size(self) -> str:
        """Say how large the excess may be."""
        words = {
            "power_percent": "{:g} % of the power limit",
            "over_power_j": "{:g} J above 1.1 times the limit",
            "over_speed_s": "{:g} s of drive above the cut-off",
            "run_on_s": "{:g} s of unwanted help",
            "braked_s": "{:g} s of help while braking",
        }
        sizes = {name: getattr(self, name) for name in words}
        return ", ".join(words[name].format(size) for name, size in sizes.items() if size is not None)

    def covers(self, km_per_h: float, situation: str) -> bool:
        """Tell whether the entry covers the row's cell at this speed, in this situation."""
        if self.situation is not None and self.situation != situation:
            return False
        return self.up_to_km_per_h is None or km_per_h <= self.up_to_km_per_h

    def applies(self, bike: Bike) -> bool:
        """Tell whether the entry is about this bike."""
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
    unseen: list[Unseen] = Field(default=[])


class HazardTable(Table):
    """The file hazards.toml."""

    caution: list[str] = Field(min_length=3)
    hazard: list[Hazard] = Field(min_length=1)


def load_hazards() -> HazardTable:
    """Return the table; RequestError if the file is not valid."""
    return load(HAZARDS, HazardTable)


def unseen_of(
    table: HazardTable, row: str, bike: Bike, km_per_h: float, situation: str
) -> tuple[Hazard, Unseen] | None:
    """Return the entry that a cell of the matrix refers to on this bike, or None."""
    for hazard in table.hazard:
        for unseen in hazard.unseen:
            if unseen.row == row and unseen.applies(bike) and unseen.covers(km_per_h, situation):
                return hazard, unseen
    return None


def hazard_page(table: HazardTable) -> str:
    """Return HAZARDS.md: the cautions, then every hazard, then the excesses that the fault matrix accepts."""
    parts = [
        "# Hazards",
        "",
        "Generated from `hazards.toml` by `uv run python -m host_sim.rules.hazards`; edit that file.",
        "",
        *(f"* {line}" for line in table.caution),
        "",
        "`treadle verify` checks a `rule:`, `treadle prove` proves a `property:`, and a `matrix:` is a row",
        "of `treadle verify --faults`. Run these commands to see whether they hold for your bike file.",
    ]
    for hazard in table.hazard:
        parts += [
            "",
            f"## {hazard.name[0].upper()}{hazard.name[1:]}",
            "",
            hazard.hazard,
            "",
            "| | |",
            "|---|---|",
            f"| causes | {'; '.join(hazard.causes)} |",
            f"| detected by | {hazard.detected_by} |",
            f"| within | {hazard.within} |",
            f"| shown by | {', '.join(f'`{one}`' for one in hazard.shown_by)} |",
            f"| remaining risk | {hazard.left} |",
            f"| covered by | {hazard.covered_by} |",
        ]
    parts += [
        "",
        "## What the fault matrix accepts",
        "",
        "No software can see the fault in these rows. A cell that exceeds the size stated here fails.",
        "",
        "| row | on | size at most | why software can't see it | hazard |",
        "|---|---|---|---|---|",
    ]
    for hazard in table.hazard:
        parts += [
            f"| {unseen.row} | {unseen.where} | {unseen.size()} | {unseen.reason} | {hazard.name} |"
            for unseen in hazard.unseen
        ]
    return "\n".join(parts) + "\n"


if __name__ == "__main__":
    PAGE.write_text(hazard_page(load_hazards()), encoding="utf-8")
