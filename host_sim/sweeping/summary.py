"""Summarizes a sweep: the range of each measure, and the points of its extremes."""

from typing import Any

import numpy as np

from host_sim.sweeping.metrics import MEASURES
from host_sim.sweeping.numbers import Numbers
from host_sim.sweeping.rule_columns import margin_column, worst_column

REASONS_TOLD = 10


def summary(numbers: Numbers, rules: tuple[str, ...]) -> dict[str, Any]:
    """Return `ridden`, `not_ridden` (reasons and how often), `measures` and `rules`."""
    measures = {name: told for name in MEASURES if (told := _spread(numbers, name))}
    often = sorted(numbers.reasons.items(), key=lambda item: -item[1])[:REASONS_TOLD]
    return {
        "ridden": numbers.rows - sum(numbers.reasons.values()),
        "not_ridden": dict(often),
        "measures": measures,
        "rules": {rule: _verdicts(numbers, rule) for rule in rules},
    }


def _spread(numbers: Numbers, name: str) -> dict[str, Any]:
    """Return lowest, median and highest of a column, the points of both extremes, and the unchanged bike."""
    column = numbers.columns[name]
    if np.isnan(column).all():
        return {}
    low, high = int(np.nanargmin(column)), int(np.nanargmax(column))
    own = numbers.own_mean(name)
    return {
        "bike": None if np.isnan(own) else own,
        "noise": numbers.noise(name),
        "moves": numbers.moves(name),
        "lowest": float(column[low]),
        "lowest_at": _point(numbers, low),
        "median": float(np.nanmedian(column)),
        "highest": float(column[high]),
        "highest_at": _point(numbers, high),
    }


def _verdicts(numbers: Numbers, rule: str) -> dict[str, Any]:
    """Return at how many points a rule of `verify` fails, holds or was not shown, and its worst point."""
    margins = numbers.columns[margin_column(rule)]
    seen = ~np.isnan(margins)
    own = float(numbers.own[margin_column(rule)][0])
    told: dict[str, Any] = {
        "fails": int((margins[seen] < 0.0).sum()),
        "holds": int((margins[seen] >= 0.0).sum()),
        "not_shown": int((~seen).sum()),
        "bike_holds": None if np.isnan(own) else own >= 0.0,
    }
    if seen.any():
        worst = int(np.nanargmin(margins))
        told |= {
            "worst": float(numbers.columns[worst_column(rule)][worst]),
            "limit": float(numbers.columns[worst_column(rule)][worst] + margins[worst]),
            "worst_at": _point(numbers, worst),
        }
    return told


def _point(numbers: Numbers, row: int) -> dict[str, float]:
    return {name: float(numbers.columns[name][row]) for name in ["number", *numbers.axes]}
