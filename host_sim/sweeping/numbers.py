"""The finished rows of a sweep as columns of numbers, for figures and for the summary."""

from array import array
from collections.abc import Iterable
from dataclasses import dataclass
from math import log, sqrt

import numpy as np
from numpy.typing import NDArray

from host_sim.sweeping.points_beside import REPEATS, own_value
from host_sim.sweeping.rows import Sweep

Column = NDArray[np.float64]
Columns = dict[str, Column]
# The highest of n normal numbers is at most sqrt(2 ln n) sigma on average, so their range is at most twice
# that; sixteen of them span at least 2 sigma in 99 of 100 cases (a million draws). Up to the ratio of both
# times the range of the repeats, differences are noise.
TIMES_LEAST = 1.5
LEAST_SHARE = 0.01  # Of the highest value: nobody notices a smaller change.


@dataclass(frozen=True, slots=True)
class Numbers:
    """`columns` by name, nan where a ride has no value; `axes`, the names of the keys that vary.

    `own` has repeated rides of the unchanged bike, `slices` rides with one key changed; `present` has the
    bike's own value of each key, `reasons` how often a point could not be ridden.
    """

    axes: list[str]
    columns: Columns
    own: Columns
    slices: dict[str, Columns]
    present: dict[str, float]
    reasons: dict[str, int]
    on_grid: bool

    @property
    def rows(self) -> int:
        """The number of points."""
        return len(self.columns["number"])

    def own_mean(self, name: str) -> float:
        """Return a measure of the unchanged bike; nan if its rides don't show it."""
        seen = _seen(self.own[name])
        return float(seen.mean()) if len(seen) else float("nan")

    def noise(self, name: str) -> float:
        """Return the range of a measure over the rides of the unchanged bike."""
        seen = _seen(self.own[name])
        return float(np.ptp(seen)) if len(seen) else 0.0

    def moves(self, name: str) -> bool:
        """Return whether a measure varies by more than its noise, over all points or along one key alone."""
        noise = self.noise(name)
        return any(
            not flat(some[name], noise) for some in (self.columns, *self.slices.values()) if name in some
        )


def flat(values: Column, noise: float) -> bool:
    """Return whether values differ by no more than noise, or by less than LEAST_SHARE."""
    seen = _seen(values)
    if len(seen) < 2:
        return True
    times = max(TIMES_LEAST, sqrt(2.0 * log(len(seen))))
    return bool(np.ptp(seen) <= max(times * noise, LEAST_SHARE * float(np.abs(seen).max())))


def read_numbers(rows: Iterable[dict[str, str]], sweep: Sweep) -> Numbers:
    """Read every row of a finished sweep, the extra rides (`points_beside`) too."""
    axes = [axis.key.name for axis in sweep.points.axes]
    names = ["number", *axes, *sweep.measured]
    lists = {name: array("d") for name in names}
    reasons: dict[str, int] = {}
    points = sweep.points.count
    for number, row in enumerate(rows):
        for name in names:
            lists[name].append(float(row[name]) if row[name] else float("nan"))
        if row["reason"] and number < points:
            reasons[row["reason"]] = reasons.get(row["reason"], 0) + 1
    all_rows = {name: np.array(values, dtype=np.float64) for name, values in lists.items()}
    columns = {name: values[:points] for name, values in all_rows.items()}
    own = {name: values[points : points + REPEATS] for name, values in all_rows.items()}
    places: dict[str, list[int]] = {}
    for place, one in enumerate(sweep.beside[REPEATS:], start=points + REPEATS):
        places.setdefault(next(iter(one.values)), []).append(place)
    slices = {key: {name: values[some] for name, values in all_rows.items()} for key, some in places.items()}
    present = {name: own_value(sweep.bike, name) for name in axes}
    return Numbers(axes, columns, own, slices, present, reasons, sweep.points.random is None)


def _seen(column: Column) -> Column:
    return column[~np.isnan(column)]
