"""What the figures of a sweep show: rules that were checked, then measures that vary."""

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from host_sim.rules.catalogue import rule_named
from host_sim.sweeping.metrics import LESS, MEASURES, MORE
from host_sim.sweeping.numbers import Column, Numbers
from host_sim.sweeping.rule_columns import margin_column, worst_column

DRAWN = (
    "engage_s", "jerk_m_per_s3", "stop_time_s", "cutoff_distance_m", "settling_s", "overshoot_percent",
    "surge_percent", "run_on_s", "assist_wh", "distance_m",
)  # fmt: skip
PANELS_MOST = 6
LEAST_SPAN = 0.3  # Of the highest value, so that a smaller change doesn't look large.


@dataclass(frozen=True, slots=True)
class Panel:
    """One quantity: its column, words, unit and good direction; `rule` is "" for a measure."""

    name: str
    title: str
    unit: str
    good: int
    rule: str = ""

    def breaks(self, numbers: Numbers) -> NDArray[np.bool_]:
        """Return for every point whether the rule fails there."""
        if not self.rule:
            return np.zeros(numbers.rows, dtype=np.bool_)
        return numbers.columns[margin_column(self.rule)] < 0.0

    def limit(self, numbers: Numbers) -> float | None:
        """Return the limit of the rule, if it is the same for every point."""
        if not self.rule:
            return None
        limits = numbers.columns[margin_column(self.rule)] + numbers.columns[self.name]
        limits = limits[~np.isnan(limits)]
        return float(limits[0]) if len(limits) and np.ptp(limits) < 1e-6 else None


def panels(numbers: Numbers, rules: tuple[str, ...]) -> list[Panel]:
    """Return the panels to draw, at most PANELS_MOST: rules, then measures that vary by more than noise."""
    shown = [
        Panel(worst_column(rule), f"rule: {rule}", rule_named(rule).unit, LESS, rule)
        for rule in rules
        if not np.isnan(numbers.columns[worst_column(rule)]).all()
    ]
    shown += [_panel(name) for name in DRAWN if numbers.moves(name)]
    return shown[:PANELS_MOST]


def still(numbers: Numbers) -> list[Panel]:
    """Return the measures that don't vary by more than their noise."""
    seen = [name for name in DRAWN if not np.isnan(numbers.columns[name]).all()]
    return [_panel(name) for name in seen if not numbers.moves(name)]


def _panel(name: str) -> Panel:
    measure = MEASURES[name]
    return Panel(name, measure.title, measure.unit, measure.good)


def worst_last(values: Column, good: int) -> Any:
    """Return the order with the worst value last: the lowest where more is better."""
    return np.argsort(-values if good == MORE else values, kind="stable")


def least_span(values: Column) -> tuple[float, float]:
    """Return the range of the values, at least LEAST_SPAN of the highest wide."""
    if len(values) == 0:
        return 0.0, 1.0
    low, high = float(values.min()), float(values.max())
    if low == high == 0.0:
        return -0.5, 0.5
    missing = max(LEAST_SPAN * max(abs(low), abs(high)) - (high - low), 0.0)
    return low - missing / 2.0, high + missing / 2.0


def still_words(numbers: Numbers) -> str:
    """List the measures that don't vary, with their values."""
    words = []
    for panel in still(numbers):
        values = numbers.columns[panel.name]
        words.append(f"{panel.title} {np.nanmedian(values):.3g} {panel.unit}")
    return f"Flat, within noise or 1 %: {', '.join(words)}." if words else ""
