"""Figures of a sweep: a heat map over the first two keys, and slices, every measure against every key."""

from pathlib import Path
from typing import Any

import matplotlib as mpl
import numpy as np
from matplotlib.figure import Figure

from host_sim.sweeping.metrics import MARGINS
from host_sim.sweeping.numbers import Column, Numbers

mpl.use("Agg")
# What is drawn, if it varies: title, unit, and the rule's limit as a margin column where there is one.
DRAWN: dict[str, tuple[str, str]] = {
    "engage_s": ("start to first help", "s"),
    "jerk_m_per_s3": ("jerk of the push", "m/s³"),
    "overshoot_percent": ("power overshoot", "%"),
    "surge_percent": ("surge", "% of allowed"),
    "settling_s": ("settling", "s"),
    "stop_time_s": ("stop time", "s"),
    "run_on_s": ("run-on", "s"),
    "cutoff_distance_m": ("cut-off distance", "m"),
    "assist_wh": ("battery energy", "Wh"),
    "distance_m": ("distance", "m"),
}
PANELS_MOST = 6
LEAST_SPAN = 0.3
SLICE_KEYS_MOST = 4
CELLS = 24  # Random points are gathered in so many columns and rows.
COLOURS = "viridis"
LINE, BAND, BROKEN, PRESENT = "#1f5a8a", "#9ec4e0", "#c0392b", "#333333"


def heat_map_possible(numbers: Numbers) -> bool:
    """Return whether two keys vary, and some measure with them."""
    varying = [name for name in numbers.axes if len(np.unique(numbers.columns[name])) > 1]
    return len(varying) >= 2 and bool(_varying(numbers))


def draw_heat_map(numbers: Numbers, path: Path) -> None:
    """Draw each measure over the first two keys that vary; the worst over all others. PNG."""
    across, up = [name for name in numbers.axes if len(np.unique(numbers.columns[name])) > 1][:2]
    measures = _varying(numbers)[:PANELS_MOST]
    columns = min(3, len(measures))
    lines = -(-len(measures) // columns)
    figure = Figure(figsize=(4.3 * columns, 3.5 * lines + 0.7), layout="constrained")
    figure.suptitle(_title(numbers, f"{_last(up)} over {_last(across)}"), fontsize=11)
    for place, name in enumerate(measures, start=1):
        axes = figure.add_subplot(lines, columns, place)
        _heat(figure, axes, numbers, name, across, up)
        if place > len(measures) - columns:
            axes.set_xlabel(_last(across))
        if place % columns == 1 or columns == 1:
            axes.set_ylabel(_last(up))
    figure.savefig(path, dpi=120, format="png")


def colour_span(values: Column) -> tuple[float, float]:
    """Return the values at both ends of the colours, at least LEAST_SPAN of the highest apart.

    What hardly changes then looks so, instead of being stretched over all colours.
    """
    if len(values) == 0:
        return 0.0, 1.0
    low, high = float(values.min()), float(values.max())
    missing = max(LEAST_SPAN * abs(high) - (high - low), 0.0)
    return low - missing / 2.0, high + missing / 2.0


def _heat(figure: Figure, axes: Any, numbers: Numbers, name: str, across: str, up: str) -> None:
    title, unit = DRAWN[name]
    x_edges, x_cell = _cells(numbers.columns[across], numbers.on_grid)
    y_edges, y_cell = _cells(numbers.columns[up], numbers.on_grid)
    worst = np.full((len(y_edges) - 1, len(x_edges) - 1), np.nan)
    values = numbers.columns[name]
    seen = ~np.isnan(values)
    # The worst first would be overwritten: in ascending order the last one written is the highest.
    for row in np.argsort(values[seen]):
        worst[y_cell[seen][row], x_cell[seen][row]] = values[seen][row]
    low, high = colour_span(values[seen])
    mesh = axes.pcolormesh(x_edges, y_edges, worst, cmap=COLOURS, vmin=low, vmax=high, rasterized=True)
    figure.colorbar(mesh, ax=axes, label=unit)
    axes.set_facecolor("#dddddd")  # No ride here, or nothing measured.
    if seen.any() and low < values[seen].min():
        title += " (varies little)"
    axes.set_title(title, fontsize=10)
    broken = _broken(numbers, name)
    if broken is not None and broken.any():
        marks = np.zeros_like(worst)
        marks[y_cell[broken], x_cell[broken]] = 1.0
        y_at, x_at = np.nonzero(marks)
        middles = 0.5 * (x_edges[1:] + x_edges[:-1]), 0.5 * (y_edges[1:] + y_edges[:-1])
        axes.plot(middles[0][x_at], middles[1][y_at], "x", color=BROKEN, markersize=4)
        axes.set_title(f"{title} (red x: breaks its rule)", fontsize=10)
    axes.plot(numbers.present[across], numbers.present[up], "o", mfc="none", mec="white", ms=9, mew=2.4)
    axes.plot(numbers.present[across], numbers.present[up], "o", mfc="none", mec=PRESENT, ms=9, mew=1.0)
    axes.set_xlim(x_edges[0], x_edges[-1])
    axes.set_ylim(y_edges[0], y_edges[-1])


def draw_slices(numbers: Numbers, path: Path) -> None:
    """Draw every measure against every key. PNG.

    The band holds all rides. The line of a grid goes through the point nearest to the bike as it is, all
    other keys unchanged; the line of random points is their median.
    """
    keys = numbers.axes[:SLICE_KEYS_MOST]
    measures = (_varying(numbers) or list(DRAWN))[:PANELS_MOST]
    figure = Figure(figsize=(3.6 * len(keys) + 0.6, 1.75 * len(measures) + 0.8), layout="constrained")
    line_is = "the other keys as on the bike" if numbers.on_grid else "median"
    told = f"{numbers.rows} rides. Line: {line_is}; band: all rides"
    figure.suptitle(f"{told};\ndotted: the bike as it is; dashed red: limit of the rule", fontsize=9)
    for line, name in enumerate(measures):
        for column, key in enumerate(keys):
            axes = figure.add_subplot(len(measures), len(keys), line * len(keys) + column + 1)
            _slice(axes, numbers, name, key)
            if line == len(measures) - 1:
                axes.set_xlabel(key)
            else:
                axes.set_xticklabels([])
            if column == 0:
                title, unit = DRAWN[name]
                axes.set_ylabel(f"{title}\n{unit}", fontsize=8)
    figure.savefig(path, dpi=120, format="png")


def _slice(axes: Any, numbers: Numbers, name: str, key: str) -> None:
    edges, cell = _cells(numbers.columns[key], numbers.on_grid)
    values = numbers.columns[name]
    near = _near_the_bike(numbers, key)
    keys, low, middle, high = [], [], [], []
    for index in range(len(edges) - 1):
        some = values[(cell == index) & ~np.isnan(values)]
        if len(some):
            keys.append(float(np.median(numbers.columns[key][cell == index])))
            low.append(float(some.min()))
            middle.append(_middle(values[(cell == index) & near]))  # nan: a gap in the line.
            high.append(float(some.max()))
    axes.fill_between(keys, low, high, color=BAND, linewidth=0, alpha=0.7)
    axes.plot(keys, middle, "-", color=LINE, marker="." if len(keys) < 30 else "", linewidth=1.4)
    limit = _limit(numbers, name)
    if limit is not None and high and max(high) > 0.7 * limit:
        axes.axhline(limit, color=BROKEN, linewidth=1.0, linestyle="--")
    axes.axvline(numbers.present[key], color=PRESENT, linewidth=0.9, linestyle=":")
    axes.grid(alpha=0.25)
    axes.tick_params(labelsize=8)


def _middle(values: Column) -> float:
    values = values[~np.isnan(values)]
    return float(np.median(values)) if len(values) else float("nan")


def _near_the_bike(numbers: Numbers, key: str) -> Any:
    """Tell for every row whether it belongs to the line of this key."""
    if not numbers.on_grid:
        return ~np.isnan(numbers.columns["engagements"])
    near = np.full(numbers.rows, True)
    for other in numbers.axes:
        if other != key:
            distances = np.abs(numbers.columns[other] - numbers.present[other])
            near &= distances == distances.min()
    return near


def _varying(numbers: Numbers) -> list[str]:
    """Return the measures that differ between points by more than a thousandth."""
    varying = []
    for name in DRAWN:
        values = numbers.columns[name]
        values = values[~np.isnan(values)]
        if len(values) and values.max() - values.min() > 1e-3 * max(abs(values.max()), 1e-6):
            varying.append(name)
    return varying


def _cells(values: Column, on_grid: bool) -> tuple[Column, Any]:
    """Return the edges of columns of cells over the values of a key, and the cell of each value."""
    distinct = np.unique(values)
    if not on_grid and len(distinct) > CELLS:
        edges = np.linspace(distinct[0], distinct[-1], CELLS + 1)
    elif len(distinct) == 1:
        half = 0.05 * abs(distinct[0]) or 0.5
        edges = np.array([distinct[0] - half, distinct[0] + half])
    else:
        inner = 0.5 * (distinct[1:] + distinct[:-1])
        edges = np.concatenate(
            [[1.5 * distinct[0] - 0.5 * distinct[1]], inner, [2 * distinct[-1] - inner[-1]]]
        )
    return edges, np.clip(np.searchsorted(edges, values, side="right") - 1, 0, len(edges) - 2)


def _margin_of(name: str) -> str | None:
    return next((margin for margin, (_, measure) in MARGINS.items() if measure == name), None)


def _broken(numbers: Numbers, name: str) -> Any:
    margin = _margin_of(name)
    return None if margin is None else numbers.columns[margin] < 0.0


def _limit(numbers: Numbers, name: str) -> float | None:
    """Return the limit of the measure's rule, if it is the same for every point."""
    margin = _margin_of(name)
    if margin is None:
        return None
    limits = numbers.columns[margin] + numbers.columns[name]
    limits = limits[~np.isnan(limits)]
    return float(limits[0]) if len(limits) and np.ptp(limits) < 1e-6 else None


def _title(numbers: Numbers, what: str) -> str:
    worst = ", highest over the other keys" if len(numbers.axes) > 2 else ""
    return f"{numbers.rows} rides: {what}{worst}. Circle: the bike as it is"


def _last(name: str) -> str:
    return name.split(".")[1]
