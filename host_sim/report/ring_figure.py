"""The picture of an inspection: the first turn as logic traces, the ring, cadence, and what to do."""

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure

from host_sim.capture.analog.magnets import VoltsFound
from host_sim.capture.cadence import Cadence
from host_sim.capture.findings import Inspection
from host_sim.capture.stopping import Support
from host_sim.capture.stretches import Floats
from host_sim.report.picture import advice_text, picture, short
from host_sim.report.ring_drawing import BAD, COLOURS, EMPTY, QUIET, draw_ring
from host_sim.report.svg import INK
from host_sim.report.volts_drawing import draw_heights, draw_traces, thresholds_words
from host_sim.units import NS_PER_S

ENGAGE, RELEASE = "#14775a", "#a0252f"
LEFT, RIGHT = 0.06, 0.97
HALF = 0.72
SECONDS_SHOWN = 60.0
EDGES_SHOWN = 400
POINTS_SHOWN = 2000
ADVICE_LETTERS = 88
ADVICE_LINES = 15
TITLE_LETTERS = 70


@dataclass(frozen=True, slots=True)
class VoltsShown:
    """A capture in volts: what was found, and what gives times and volts between two moments."""

    found: VoltsFound
    between: Callable[[float, float], tuple[Floats, Floats]]


def draw_inspection(
    inspection: Inspection,
    support: Support | None,
    advice: list[str],
    title: str,
    path: Path,
    volts: VoltsShown | None = None,
    why: list[str] | None = None,
) -> None:
    """Draw an inspection into `path` (PNG or SVG by its suffix); `title` names the capture.

    `why`: the reasons against the sensor, None for those from the edges.
    """
    with picture(path, (14, 10.5), dpi=105) as figure:
        weak = volts.found.weak if volts is not None else []
        _heading(figure, inspection, title, weak)
        _edges(figure.add_axes((LEFT, 0.735, RIGHT - LEFT, 0.145)), inspection, volts)
        draw_ring(figure, figure.add_axes((0.02, 0.04, 0.42, 0.56), projection="polar"), inspection, weak)
        right = RIGHT if volts is None else HALF
        _cadence(figure.add_axes((0.52, 0.39, right - 0.52, 0.225)), inspection, support, volts is None)
        if volts is not None:
            draw_heights(figure.add_axes((HALF + 0.04, 0.39, RIGHT - HALF - 0.04, 0.225)), volts.found)
        _advice(figure, inspection.why if why is None else why, advice)


def _heading(figure: Figure, inspection: Inspection, title: str, weak: list[int]) -> None:
    figure.text(LEFT, 0.975, short(title, TITLE_LETTERS), fontsize=12, va="top", color=QUIET)
    verdict = _verdict(inspection, weak)
    figure.text(
        LEFT,
        0.95,
        verdict,
        fontsize=17 if len(verdict) <= 80 else 17 * 80 / len(verdict),
        fontweight="bold",
        va="top",
    )


def _verdict(inspection: Inspection, weak_by_volts: list[int]) -> str:
    """Return the findings in one line."""
    if inspection.channels.live == 0:
        return "Too few changes" if any(inspection.gathered.changes) else "No channel changes"
    parts = [inspection.kind.value or "unknown kind of sensor"]
    pulses = inspection.pulses
    if pulses.sure:
        parts.append(f"{pulses.value} pulses a turn")
    else:
        parts.append(f"number of pulses unknown{f', probably {pulses.value}' if pulses.value else ''}")
    if inspection.kind.value == "two channels":
        lead = inspection.lead
        parts.append(f"{lead.value} leads" if lead.sure else "lead unknown")
    wrong = []
    if inspection.channels.dead:
        since = " any more" if inspection.channels.dead_since_s > 0.0 else ""
        wrong.append(f"channel {inspection.channels.dead} does not change{since}")
    for name, finding in (("missing", inspection.missing), ("weak", inspection.weak)):
        if finding.value and finding.sure:
            wrong.append(f"magnet {', '.join(map(str, finding.value))} {name}")
    if weak_by_volts:
        wrong.append(f"magnet {', '.join(map(str, weak_by_volts))} weak according to its volts")
    if inspection.decodable.value is False:
        wrong.append("A and B do not overlap")
    if inspection.changes:
        wrong.append(f"the ring changes at {inspection.changes[0].at_s:.0f} s")
    if inspection.bounces:
        wrong.append("edges bounce")
    for one in inspection.lacking:
        which = f"magnet {one.magnet}" if one.magnet else "a magnet in every turn"
        wrong.append(f"channel {one.channel} misses {which}")
    if inspection.overlap_too_brief and inspection.decodable.value is not False and not inspection.lacking:
        wrong.append("A and B overlap too briefly")
    text = ", ".join(parts) + (": " + ", ".join(wrong) if wrong else "")
    return text[0].upper() + text[1:]


def _edges(axes: Axes, inspection: Inspection, volts: VoltsShown | None) -> None:
    """Draw a little more than the first turn, with the numbers of the magnets."""
    gathered = inspection.gathered
    times_s = gathered.times_ns / NS_PER_S
    rises_s = inspection.rises_s
    seen = len(inspection.ring.magnets) if inspection.ring is not None else 12
    begin_s, end_s = float(times_s[0]), float(times_s[-1])
    if len(rises_s) > 1:
        last = min(seen + 1, len(rises_s) - 1)
        margin_s = 0.5 * float(rises_s[1] - rises_s[0])
        begin_s, end_s = float(rises_s[0]) - margin_s, float(rises_s[last]) + margin_s
    if volts is not None:
        draw_traces(axes, volts.found, *volts.between(begin_s, min(end_s, begin_s + SECONDS_SHOWN)))
        _numbers(axes, inspection, seen, axes.get_ylim()[1])
    else:
        _levels(axes, inspection, begin_s, end_s)
        _numbers(axes, inspection, seen, axes.get_ylim()[1] - 0.12)
    axes.set(xlim=(begin_s, max(end_s, begin_s + 1e-3)), xlabel="time, s")
    known = inspection.ring is not None and inspection.pulses.sure and not inspection.changes
    words = "the first turn (shaded) as recorded, with the numbers of the magnets" if known else "as recorded"
    if volts is not None:
        words += f", {thresholds_words(volts.found)}"
    axes.set_title(
        words, loc="left", fontsize=10,
        color=QUIET, pad=4,
    )  # fmt: skip


def _levels(axes: Axes, inspection: Inspection, begin_s: float, end_s: float) -> None:
    """Draw the levels of the channels between two moments."""
    axes.spines[["top", "right", "left"]].set_visible(False)
    axes.set_yticks([])
    gathered = inspection.gathered
    times_s = gathered.times_ns / NS_PER_S
    first = max(int(np.searchsorted(times_s, begin_s, side="right")) - 1, 0)
    stop = min(int(np.searchsorted(times_s, end_s)), first + EDGES_SHOWN)
    shown_s = np.append(times_s[first:stop], end_s)
    levels = np.append(gathered.levels[first:stop], gathered.levels[max(stop - 1, 0)])
    channels = [name for bit, name in ((1, "A"), (2, "B")) if inspection.channels.live & bit]
    if inspection.channels.dead and inspection.channels.dead not in channels:
        channels = ["A", "B"]
    for place, name in enumerate(reversed(channels)):
        base = 1.4 * place
        high = base + ((levels >> "AB".index(name)) & 1)
        axes.step(shown_s, high, where="post", color=COLOURS[name], linewidth=1.6)
        axes.text(
            -0.006, base + 0.5, name, transform=axes.get_yaxis_transform(), ha="right", va="center",
            color=COLOURS[name], fontweight="bold", fontsize=12,
        )  # fmt: skip
    axes.set_ylim(-0.12, max(1.4 * len(channels), 1.4) + 0.12)


def _numbers(axes: Axes, inspection: Inspection, seen: int, top: float) -> None:
    """Write the numbers of the magnets over their rises, and shade one turn."""
    rises_s = inspection.rises_s
    if inspection.ring is not None and inspection.pulses.sure and not inspection.changes:
        for place, rise_s in enumerate(rises_s[: seen + 1]):
            magnet = inspection.ring.magnets[place % seen]
            weak = magnet.number in inspection.ring.weak
            axes.text(
                rise_s, top, str(magnet.number), fontsize=9, ha="left", va="top",
                color=BAD if weak else QUIET, fontweight="bold" if weak else "normal",
            )  # fmt: skip
        if seen < len(rises_s):
            axes.axvspan(float(rises_s[0]), float(rises_s[seen]), color=EMPTY, zorder=0, linewidth=0)


def _cadence(axes: Axes, inspection: Inspection, support: Support | None, wide: bool) -> None:
    cadence = inspection.cadence
    axes.spines[["top", "right"]].set_visible(False)
    title = "cadence, turn by turn, and its range (shaded)" if wide else "cadence, turn by turn"
    axes.set_title(title, loc="left", fontsize=10, color=QUIET)
    axes.set(xlabel="time, s", ylabel="rpm")
    if cadence is None:
        axes.text(
            0.5, 0.5, "no cadence without the number of pulses", transform=axes.transAxes, ha="center",
            va="center", color=QUIET,
        )  # fmt: skip
        axes.set(xticks=[], yticks=[])
        return
    time_s, rpm = _thinned(cadence)
    axes.axhspan(cadence.least, cadence.most, color=EMPTY, zorder=0, linewidth=0)
    axes.plot(time_s, rpm, color=INK, linewidth=1.3)
    # A stretch shorter than a turn is one value: a line would not show it.
    axes.plot(time_s, rpm, ".", color=INK, markersize=2.5)
    lowest = min(0.0, float(np.nanmin(rpm)) * 1.1)
    axes.set_ylim(lowest, cadence.most * 1.2)
    for change in inspection.changes:
        axes.axvline(change.at_s, color=BAD, linewidth=1.2)
        axes.annotate(
            " the ring changes",
            (change.at_s, 0.02),
            xycoords=axes.get_xaxis_transform(),
            color=BAD,
            fontsize=8.5,
        )
    if lowest < 0.0:
        axes.axhline(0.0, color=INK, linewidth=0.6)
    if support is not None and support.release_rpm:
        axes.axhline(support.engage_rpm, color=ENGAGE, linestyle="--", linewidth=1)
        axes.axhline(support.release_rpm, color=RELEASE, linestyle=":", linewidth=1.4)
        axes.annotate(
            f"smallest to engage {support.engage_rpm} rpm (dashed), to release {support.release_rpm} rpm"
            if wide
            else f"engage {support.engage_rpm} rpm, release {support.release_rpm} rpm",
            (0.005, support.engage_rpm), xycoords=axes.get_yaxis_transform(), xytext=(0, 2),
            textcoords="offset points", va="bottom", fontsize=8.5, color=ENGAGE,
        )  # fmt: skip


def _thinned(cadence: Cadence) -> tuple[Any, Any]:
    """Return at most some thousand points: of each group the lowest and the highest."""
    size = -(-len(cadence.rpm) // (POINTS_SHOWN // 2))
    if size <= 2:
        return cadence.time_s, cadence.rpm
    room = -len(cadence.rpm) % size
    rpm = np.pad(cadence.rpm, (0, room), constant_values=np.nan).reshape(-1, size)
    time_s = np.pad(cadence.time_s, (0, room), mode="edge").reshape(-1, size)
    empty = np.all(np.isnan(rpm), axis=1)
    low, high = (
        np.where(np.isnan(rpm), np.inf, rpm).min(axis=1),
        np.where(np.isnan(rpm), -np.inf, rpm).max(axis=1),
    )
    low[empty] = high[empty] = np.nan
    middle_s = time_s[:, size // 2]
    return np.repeat(middle_s, 2), np.column_stack((low, high)).ravel()


def _advice(figure: Figure, why: list[str], advice: list[str]) -> None:
    figure.text(0.52, 0.325, "what to do", fontsize=12, fontweight="bold", va="top")
    nothing = "nothing: the edges show no fault of the sensor"
    if why:
        nothing = f"not shown to be fit: {'; '.join(why)}"
    text = advice_text(advice or [nothing], ADVICE_LETTERS, ADVICE_LINES)
    figure.text(0.52, 0.295, text, fontsize=9.5, va="top", linespacing=1.35)
