"""The finished rows of a sweep as columns of numbers, for figures and for the summary."""

from collections.abc import Iterable

import numpy as np
from numpy.typing import NDArray

from host_sim.bikes.model import Bike
from host_sim.sweeping.metrics import COLUMNS
from host_sim.sweeping.rows import Sweep

Column = NDArray[np.float64]


class Numbers:
    """`columns` by name, nan where a ride has no value; `axes`, the names of the keys that vary.

    `present` is what the bike itself has for each of them, `reasons` how often a point could not be ridden.
    """

    def __init__(
        self,
        axes: list[str],
        columns: dict[str, Column],
        present: dict[str, float],
        reasons: dict[str, int],
        on_grid: bool,
    ) -> None:
        """Take what `read_numbers` found."""
        self.axes = axes
        self.columns = columns
        self.present = present
        self.reasons = reasons
        self.on_grid = on_grid

    @property
    def rows(self) -> int:
        """How many points there are."""
        return len(self.columns["number"])


def read_numbers(rows: Iterable[dict[str, str]], sweep: Sweep) -> Numbers:
    """Read every row of a finished sweep."""
    axes = [axis.key.name for axis in sweep.points.axes]
    names = ["number", *axes, *COLUMNS]
    lists: dict[str, list[float]] = {name: [] for name in names}
    reasons: dict[str, int] = {}
    for row in rows:
        for name in names:
            lists[name].append(float(row[name]) if row[name] else float("nan"))
        if row["reason"]:
            reasons[row["reason"]] = reasons.get(row["reason"], 0) + 1
    columns = {name: np.array(values, dtype=np.float64) for name, values in lists.items()}
    present = {name: _present(sweep.bike, name) for name in axes}
    return Numbers(axes, columns, present, reasons, sweep.points.random is None)


def _present(bike: Bike, name: str) -> float:
    section, key = name.split(".")
    holder = bike.firmware_settings if section == "settings" else getattr(bike, section)
    return float(getattr(holder, key))
