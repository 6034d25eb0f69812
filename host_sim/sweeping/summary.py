"""What a sweep comes to in a few numbers: how each measure spreads, and where its ends are."""

from typing import Any

import numpy as np

from host_sim.sweeping.metrics import COLUMNS, MARGINS
from host_sim.sweeping.numbers import Numbers

REASONS_TOLD = 10


def summary(numbers: Numbers) -> dict[str, Any]:
    """Return `ridden`, `not_ridden` (reasons and how often), `measures` and `rules_broken`."""
    measures = {name: told for name in COLUMNS if (told := _spread(numbers, name))}
    ridden = numbers.rows - sum(numbers.reasons.values())
    broken = {name: int((numbers.columns[name] < 0.0).sum()) for name in MARGINS}
    often = sorted(numbers.reasons.items(), key=lambda item: -item[1])[:REASONS_TOLD]
    return {
        "ridden": ridden,
        "not_ridden": dict(often),
        "measures": measures,
        "rules_broken": {name: count for name, count in broken.items() if count},
    }


def _spread(numbers: Numbers, name: str) -> dict[str, Any]:
    """Return lowest, median and highest of a column, and the points of the two ends."""
    column = numbers.columns[name]
    if np.isnan(column).all():
        return {}
    low, high = int(np.nanargmin(column)), int(np.nanargmax(column))
    return {
        "lowest": float(column[low]),
        "lowest_at": _point(numbers, low),
        "median": float(np.nanmedian(column)),
        "highest": float(column[high]),
        "highest_at": _point(numbers, high),
    }


def _point(numbers: Numbers, row: int) -> dict[str, float]:
    return {name: float(numbers.columns[name][row]) for name in ["number", *numbers.axes]}
