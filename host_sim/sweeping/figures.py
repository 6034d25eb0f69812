"""The heat map of a sweep: each quantity over the first two keys that vary."""

from pathlib import Path
from textwrap import fill
from typing import Any

import numpy as np
from matplotlib.figure import Figure

from host_sim.sweeping.metrics import LESS, MORE
from host_sim.sweeping.numbers import Column, Numbers
from host_sim.sweeping.panels import Panel, least_span, panels, still_words, worst_last
from host_sim.sweeping.words import sentence_of, unit_of, with_unit

CELLS = 24  # Random points are grouped into so many columns and rows.
COLOURS = {LESS: "viridis_r", MORE: "viridis"}  # Bright is good.
NO_DIRECTION = "Blues"
BROKEN, PRESENT = "#c0392b", "#222222"


def heat_map_possible(numbers: Numbers, rules: tuple[str, ...] = ()) -> bool:
    """Return whether two keys vary, and some measure with them."""
    return len(_varying_keys(numbers)) >= 2 and bool(panels(numbers, rules))


def draw_heat_map(numbers: Numbers, path: Path, rules: tuple[str, ...] = ()) -> None:
    """Draw each quantity over the first two keys that vary; the worst over all others. PNG."""
    heat_figure(numbers, rules).savefig(path, dpi=120, format="png")


def heat_figure(numbers: Numbers, rules: tuple[str, ...]) -> Figure:
    """Return the figure of `draw_heat_map`."""
    across, up = _varying_keys(numbers)[:2]
    shown = panels(numbers, rules)
    columns = min(3, len(shown))
    lines = -(-len(shown) // columns)
    figure = Figure(figsize=(4.4 * columns + 0.2, 3.5 * lines + 1.1), layout="constrained")
    figure.suptitle(fill(_title(numbers, across, up), 46 * columns), fontsize=11)
    for place, panel in enumerate(shown, start=1):
        axes = figure.add_subplot(lines, columns, place)
        _heat(figure, axes, numbers, panel, across, up)
        if place > len(shown) - columns:
            axes.set_xlabel(_axis_words(across))
        if place % columns == 1 or columns == 1:
            axes.set_ylabel(_axis_words(up))
    if words := still_words(numbers):
        figure.supxlabel(fill(words, 58 * columns), fontsize=9)
    return figure


def _heat(figure: Figure, axes: Any, numbers: Numbers, panel: Panel, across: str, up: str) -> None:
    x_edges, x_cell = cells(numbers.columns[across], numbers.on_grid)
    y_edges, y_cell = cells(numbers.columns[up], numbers.on_grid)
    worst = np.full((len(y_edges) - 1, len(x_edges) - 1), np.nan)
    values = numbers.columns[panel.name]
    seen = np.flatnonzero(~np.isnan(values))
    ordered = seen[worst_last(values[seen], panel.good)]
    # With several points in a cell the last one is shown.
    worst[y_cell[ordered], x_cell[ordered]] = values[ordered]
    limit = panel.limit(numbers)
    ends = values[seen] if limit is None else np.append(values[seen], limit)
    low, high = least_span(ends)
    colours = COLOURS.get(panel.good, NO_DIRECTION)
    mesh = axes.pcolormesh(x_edges, y_edges, worst, cmap=colours, vmin=low, vmax=high, rasterized=True)
    bar = figure.colorbar(mesh, ax=axes, label=panel.unit)
    if panel.good in COLOURS:
        bar.ax.set_title("better" if panel.good == MORE else "worse", fontsize=8)
        bar.ax.set_xlabel("worse" if panel.good == MORE else "better", fontsize=8)
    axes.set_facecolor("white")
    axes.patch.set_hatch("////")  # No ride here, or nothing measured.
    axes.patch.set_edgecolor("#bbbbbb")
    title = panel.title if limit is None else f"{panel.title}, limit {limit:.3g}"
    axes.set_title(title, fontsize=10)
    broken = panel.breaks(numbers)
    if broken.any():
        _mark_broken(axes, (x_edges, x_cell), (y_edges, y_cell), broken)
        axes.set_title(f"{title} (red x: it fails)", fontsize=10)
    here = numbers.present[across], numbers.present[up]
    axes.plot(*here, "o", mfc="none", mec="white", ms=10, mew=3.4)
    axes.plot(*here, "o", mfc="none", mec=PRESENT, ms=10, mew=1.4)
    axes.set(xlim=(x_edges[0], x_edges[-1]), ylim=(y_edges[0], y_edges[-1]))


def _mark_broken(axes: Any, across: tuple[Column, Any], up: tuple[Column, Any], broken: Any) -> None:
    """Draw a red x in each cell where a point breaks the rule."""
    (x_edges, x_cell), (y_edges, y_cell) = across, up
    marks = np.zeros((len(y_edges) - 1, len(x_edges) - 1))
    marks[y_cell[broken], x_cell[broken]] = 1.0
    y_at, x_at = np.nonzero(marks)
    middles = 0.5 * (x_edges[1:] + x_edges[:-1]), 0.5 * (y_edges[1:] + y_edges[:-1])
    size = float(np.clip(120.0 / max(len(x_edges), len(y_edges)), 2.0, 6.0))
    axes.plot(middles[0][x_at], middles[1][y_at], "x", color=BROKEN, markersize=size)


def cells(values: Column, on_grid: bool) -> tuple[Column, Any]:
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


def _varying_keys(numbers: Numbers) -> list[str]:
    return [name for name in numbers.axes if len(np.unique(numbers.columns[name])) > 1]


def _title(numbers: Numbers, across: str, up: str) -> str:
    worst = ", the worst over the other keys" if len(numbers.axes) > 2 else ""
    inside = all(
        numbers.columns[key].min() <= numbers.present[key] <= numbers.columns[key].max()
        for key in (across, up)
    )
    circle = "Circle: the bike as it is." if inside else "The bike as it is lies outside of this range."
    return f"{numbers.rows} points{worst}. Bright is good. {circle}"


def _axis_words(key: str) -> str:
    return fill(with_unit(sentence_of(key), unit_of(key)), 40)
