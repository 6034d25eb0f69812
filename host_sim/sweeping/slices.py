"""The slices of a sweep: each quantity against each key, all other keys unchanged."""

from pathlib import Path
from textwrap import fill
from typing import Any

import numpy as np
from matplotlib.figure import Figure
from matplotlib.lines import Line2D
from matplotlib.patches import Patch

from host_sim.sweeping.figures import BROKEN, PRESENT, cells
from host_sim.sweeping.numbers import Numbers, flat
from host_sim.sweeping.panels import PANELS_MOST, Panel, least_span, panels, still
from host_sim.sweeping.words import sentence_of, unit_of, with_unit

LINE, BAND, FLAT = "#1f5a8a", "#9ec4e0", "#888888"


def draw_slices(numbers: Numbers, path: Path, rules: tuple[str, ...] = ()) -> None:
    """Draw every quantity against every key that was changed alone, the ones that vary first. PNG."""
    slices_figure(numbers, rules).savefig(path, dpi=120, format="png")


def slices_figure(numbers: Numbers, rules: tuple[str, ...]) -> Figure:
    """Return the figure of `draw_slices`."""
    keys = list(numbers.slices)
    shown = (panels(numbers, rules) + still(numbers))[:PANELS_MOST]
    figure = Figure(figsize=(3.5 * len(keys) + 1.0, 1.8 * len(shown) + 1.7), layout="constrained")
    for line, panel in enumerate(shown):
        first: Any = None
        for column, key in enumerate(keys):
            axes = figure.add_subplot(len(shown), len(keys), line * len(keys) + column + 1, sharey=first)
            first = first or axes
            _slice(axes, numbers, panel, key)
            if line == len(shown) - 1:
                axes.set_xlabel(fill(with_unit(sentence_of(key), unit_of(key)), 34), fontsize=9)
            else:
                axes.tick_params(labelbottom=False)
            axes.tick_params(labelleft=column == 0)
        first.set_ylabel(fill(panel.title, 16) + f"\n({panel.unit})", fontsize=9)
        first.set_ylim(*_span(numbers, panel))
    columns = 2 if len(keys) > 1 else 1
    figure.legend(handles=_legend(numbers, shown), loc="outside upper center", ncols=columns, fontsize=8)
    return figure


def _legend(numbers: Numbers, shown: list[Panel]) -> list[Any]:
    """Name each kind of line once."""
    handles: list[Any] = [
        Line2D([], [], color=LINE, marker=".", label="only this key changed"),
        Line2D([], [], color=PRESENT, marker="o", linestyle="", label="the unchanged bike, and its noise"),
        Patch(color=BAND, label=f"all {numbers.rows} points"),
        Line2D([], [], color=FLAT, linewidth=2.0, label="flat: varies within its noise, or 1 %"),
    ]
    if any(panel.limit(numbers) is not None for panel in shown):
        handles.append(Line2D([], [], color=BROKEN, linestyle="--", label="limit of the rule"))
    return handles


def _slice(axes: Any, numbers: Numbers, panel: Panel, key: str) -> None:
    _band(axes, numbers, panel, key)
    alone = numbers.slices[key]
    values = alone[panel.name]
    seen = ~np.isnan(values)
    if seen.any() and flat(values[seen], numbers.noise(panel.name)):
        axes.hlines(values[seen].mean(), alone[key].min(), alone[key].max(), color=FLAT, linewidth=2.0)
    else:
        axes.plot(alone[key], values, "-", color=LINE, marker=".", linewidth=1.4)
    limit = panel.limit(numbers)
    if limit is not None:
        axes.axhline(limit, color=BROKEN, linewidth=1.0, linestyle="--")
    low, high = numbers.columns[key].min(), numbers.columns[key].max()
    if low <= numbers.present[key] <= high:
        own = numbers.own_mean(panel.name)
        half = 0.5 * numbers.noise(panel.name)
        axes.errorbar(numbers.present[key], own, yerr=half, fmt="o", color=PRESENT, ms=5, capsize=3)
    axes.grid(alpha=0.25)
    axes.tick_params(labelsize=8)


def _band(axes: Any, numbers: Numbers, panel: Panel, key: str) -> None:
    """Fill between minimum and maximum of all points."""
    edges, cell = cells(numbers.columns[key], numbers.on_grid)
    values = numbers.columns[panel.name]
    keys, low, high = [], [], []
    for index in range(len(edges) - 1):
        some = values[(cell == index) & ~np.isnan(values)]
        if len(some):
            keys.append(float(np.median(numbers.columns[key][cell == index])))
            low.append(float(some.min()))
            high.append(float(some.max()))
    axes.fill_between(keys, low, high, color=BAND, linewidth=0, alpha=0.7)


def _span(numbers: Numbers, panel: Panel) -> tuple[float, float]:
    """Return the range of the axis: all that is drawn, and a margin."""
    drawn = [numbers.columns[panel.name], numbers.own[panel.name]]
    drawn += [alone[panel.name] for alone in numbers.slices.values()]
    limit = panel.limit(numbers)
    values = np.concatenate([*drawn, [np.nan if limit is None else limit]])
    low, high = least_span(values[~np.isnan(values)])
    return low - 0.05 * (high - low), high + 0.05 * (high - low)
