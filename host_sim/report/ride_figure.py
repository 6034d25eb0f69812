"""The picture of a ride: what the road, the rider and the motor did, and why.

Left the whole ride, right one minute of it, below one second of crank edges as logic traces. A short
ride has no left column. The picture can be read without colour vision: lines differ in lightness and have
labels, a fault and a lost supply are hatched.
"""

from pathlib import Path

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.patches import Rectangle

from firmware.settings import Settings
from host_sim.bench.trace import OFF_NAME
from host_sim.report.edges_figure import CADENCE, COMMAND, DELIVERED, SPEED, draw_edges
from host_sim.report.event_labels import LABEL_ROW_POINTS, LABEL_ROWS, label_events
from host_sim.report.picture import picture, short
from host_sim.report.ride_facts import RideFacts
from host_sim.report.ring_drawing import QUIET
from host_sim.report.svg import INK
from host_sim.report.trace_file import RideTrace, read_trace
from host_sim.units import KM_PER_H_PER_M_PER_S, KM_PER_H_PER_MM_PER_S

MINUTE_S = 60.0
SHORT_RIDE_S = 150.0  # Shown whole, without a minute picked out of it.
FLAT_M = 0.3  # A road that rises and falls by less gets no axis for its height.
TITLE_LETTERS = 60

ROAD = "#c9c2b6"
WANTED = "#8a8f98"
ALLOWED = "#d1720b"
LEFT, RIGHT = 0.068, 0.952
CAPTIONS = (
    "cadence: pedals that turn fast enough engage the motor; bold is what the controller measures",
    "power: delivered, limited by allowed and requested power",
    "command: rises gently, is cut at once",
)
# State: colour, how strong, hatching, words.
SPANS = {
    "assisting": ("#14775a", 0.13, "", "pedals drive"),
    "throttling": ("#e0a100", 0.24, "", "throttle drives"),
    "braked": ("#555b66", 0.20, "", "brake"),
    "faulted": ("#a0252f", 0.20, "///", "fault"),
    OFF_NAME: ("#3a3f47", 0.10, "...", "switched off"),
}


def draw_ride(trace_path: Path, facts: RideFacts, figure_path: Path) -> None:
    """Draw the trace in `trace_path` into `figure_path` (PNG or SVG by its suffix)."""
    short = facts.seconds <= SHORT_RIDE_S
    minute_s = None if short else _minute(facts)
    with picture(figure_path, (15, 12.5), dpi=110, font_size=9.5, hatch_width=0.5) as figure:
        grid = figure.add_gridspec(
            4, 1 if short else 2, height_ratios=(1.25, 1.1, 1.5, 1.0), hspace=0.2, wspace=0.13,
            width_ratios=(1,) if short else (1.5, 1), left=LEFT, right=RIGHT, top=0.865, bottom=0.235,
        )  # fmt: skip
        whole = read_trace(trace_path)
        left = [figure.add_subplot(grid[row, 0]) for row in range(4)]
        _panels(left, whole, facts, (0.0, facts.seconds), label_lines=short)
        label_events(left[0], facts.events, (0.0, facts.seconds))
        if minute_s is not None:
            right = [figure.add_subplot(grid[row, 1]) for row in range(4)]
            _panels(right, read_trace(trace_path, minute_s), facts, minute_s, label_lines=True)
            label_events(right[0], facts.events, minute_s)
            for axes in left:
                axes.axvspan(*minute_s, facecolor="none", edgecolor=INK, linewidth=1.2, linestyle=":")
            above = LABEL_ROWS * LABEL_ROW_POINTS + 9
            left[0].set_title("the whole ride", loc="left", fontsize=11.5, pad=above, fontweight="bold")
            right[0].set_title(
                "one minute of it, dotted on the left",
                loc="left",
                fontsize=11.5,
                pad=above,
                fontweight="bold",
            )
        for axes, words in zip(left[1:], CAPTIONS, strict=True):
            axes.set_title(words, loc="left", fontsize=9, pad=3, color=QUIET)
        for axes in left if facts.worst is not None else []:
            axes.axvline((facts.worst or (0, ""))[0] / 1e6, color=COMMAND, linewidth=1.6)
        draw_edges(figure.add_axes((LEFT, 0.05, RIGHT - LEFT, 0.115)), facts, whole)
        _heading(figure, facts)


def _minute(facts: RideFacts) -> tuple[float, float]:
    """Return the minute to show in detail: from a little before the first engagement."""
    first_s = next((event.time_s for event in facts.events if event.text == "assisting"), 0.0)
    start_s = min(max(first_s - 8.0, 0.0), facts.seconds - MINUTE_S)
    return start_s, start_s + MINUTE_S


def _heading(figure: Figure, facts: RideFacts) -> None:
    figure.text(LEFT, 0.985, short(facts.bike, TITLE_LETTERS), fontsize=17, fontweight="bold", va="top")
    estimated = f"; {', '.join(facts.estimated)}: estimated" if facts.estimated else ""
    figure.text(LEFT, 0.957, f"ride: {short(facts.ride, TITLE_LETTERS)}{estimated}", fontsize=12, va="top")
    patches = [
        Rectangle((0, 0), 1, 1, facecolor=colour, alpha=min(2.2 * alpha, 1), hatch=hatch, label=label)
        for colour, alpha, hatch, label in SPANS.values()
    ]
    figure.legend(
        handles=patches, loc="upper right", bbox_to_anchor=(RIGHT + 0.007, 0.992), ncols=5, frameon=False
    )


def _panels(
    panels: list[Axes], trace: RideTrace, facts: RideFacts, span_s: tuple[float, float], label_lines: bool
) -> None:
    """Draw the four panels that share the time axis."""
    _road_and_speed(panels[0], trace, facts.settings, label_lines)
    _cadence(panels[1], trace, facts.settings, label_lines)
    _watts(panels[2], trace, label_lines)
    _command(panels[3], trace, facts.settings, label_lines)
    for axes in panels:
        axes.set_xlim(*span_s)
        axes.grid(axis="y", color="#e3e3e0", linewidth=0.7)
        axes.set_axisbelow(True)
        axes.spines[["top", "right"]].set_visible(False)
        for state, (colour, alpha, hatch, _) in SPANS.items():
            for start_s, end_s in trace.spans(state):
                axes.axvspan(
                    start_s, end_s, facecolor=colour, edgecolor=colour, alpha=alpha, hatch=hatch, lw=0
                )
    for axes in panels[:-1]:
        axes.tick_params(labelbottom=False)
    panels[-1].set_xlabel("time, s")


def _road_and_speed(axes: Axes, trace: RideTrace, settings: Settings, label_lines: bool) -> None:
    time_s = trace["time_s"]
    speed = trace["speed_m_per_s"] * KM_PER_H_PER_M_PER_S
    height_m = np.concatenate(([0.0], np.cumsum(np.diff(trace["distance_m"]) * trace["grade"][1:])))
    height_m -= height_m.min()
    road = axes.twinx()
    road.fill_between(time_s, height_m, color=ROAD, alpha=0.75, linewidth=0)
    highest_m = float(height_m.max())
    road.set_ylim(0, max(highest_m * 2.2, 4.0))
    road.tick_params(colors="#8d8475", labelsize=8)
    road.spines[["top", "left"]].set_visible(False)
    axes.set_zorder(road.get_zorder() + 1)
    axes.patch.set_visible(False)
    cutoff = settings.cutoff_speed_mm_per_s * KM_PER_H_PER_MM_PER_S
    axes.plot(time_s, speed, color=SPEED, linewidth=1.4)
    axes.axhline(cutoff, color=SPEED, linestyle="--", linewidth=1)
    axes.set(ylim=(0, max(float(speed.max()), cutoff) * 1.18), ylabel="speed, km/h")
    _note(axes, cutoff, f"cut-off speed {cutoff:.1f} km/h", SPEED)
    if highest_m < FLAT_M:
        road.set_yticks([])
        road.spines["right"].set_visible(False)
    elif label_lines:
        road.set_ylabel("height of the road, m", color="#8d8475")


def _cadence(axes: Axes, trace: RideTrace, settings: Settings, label_lines: bool) -> None:
    axes.plot(trace["time_s"], trace["cadence_rpm"], color=CADENCE, linewidth=0.7, alpha=0.45)
    axes.plot(trace["time_s"], trace["sensed_cadence_rpm"], color=CADENCE, linewidth=1.1)
    axes.axhline(settings.engage_rpm, color=DELIVERED, linestyle="--", linewidth=1)
    axes.axhline(settings.release_rpm, color=COMMAND, linestyle="--", linewidth=1)
    highest_rpm = max(float(trace["cadence_rpm"].max()), settings.engage_rpm * 1.5)
    # Space below zero for pedalling backward, or at least for the name of the lower line.
    axes.set_ylim(min(-0.1 * highest_rpm, float(trace["cadence_rpm"].min()) * 1.1), highest_rpm * 1.05)
    axes.axhline(0.0, color=INK, linewidth=0.5)
    axes.set_ylabel("cadence, rpm")
    if label_lines:
        _note(axes, settings.engage_rpm, f"engage cadence {settings.engage_rpm} rpm", DELIVERED)
        _note(axes, settings.release_rpm, f"release cadence {settings.release_rpm} rpm", COMMAND, below=True)


def _watts(axes: Axes, trace: RideTrace, label_lines: bool) -> None:
    time_s = trace["time_s"]
    delivered = trace["delivered_w"]
    axes.fill_between(
        time_s, delivered, color=DELIVERED, alpha=0.35, linewidth=0, label="delivered by the battery"
    )
    axes.plot(time_s, delivered, color=DELIVERED, linewidth=0.9)
    axes.plot(
        time_s,
        trace["wanted_w"],
        color=WANTED,
        linewidth=2.6,
        alpha=0.8,
        label="wanted",
        drawstyle="steps-post",
    )
    axes.plot(
        time_s, trace["allowed_w"], color=ALLOWED, linewidth=1.2, label="allowed", drawstyle="steps-post"
    )
    axes.set_ylim(0, max(float(trace["wanted_w"].max()), float(delivered.max()), 50.0) * 1.3)
    axes.set_ylabel("power, W")
    if label_lines:
        axes.legend(
            loc="lower right", bbox_to_anchor=(1.0, 0.98), ncols=3, frameon=False, fontsize=8.5, borderpad=0,
            handlelength=1.6, columnspacing=1.2,
        )  # fmt: skip


def _command(axes: Axes, trace: RideTrace, settings: Settings, label_lines: bool) -> None:
    start_v = settings.command_start_mv / 1000
    axes.axhspan(0, start_v, color="#efeeea", zorder=0)
    axes.plot(trace["time_s"], trace["command_v"], color=COMMAND, linewidth=1.1)
    axes.set(ylim=(0, settings.command_max_mv / 1000 * 1.1), ylabel="command voltage, V")
    if label_lines:
        axes.text(
            0.995, start_v / 2, "dead band of the motor controller", transform=axes.get_yaxis_transform(),
            ha="right", va="center", fontsize=8.5, color=QUIET,
        )  # fmt: skip


def _note(axes: Axes, level: float, text: str, colour: str, below: bool = False) -> None:
    """Name a horizontal line at its right end."""
    axes.annotate(
        text, (0.995, level), xycoords=axes.get_yaxis_transform(), xytext=(0, -2 if below else 2),
        textcoords="offset points", ha="right", va="top" if below else "bottom", fontsize=8.5, color=colour,
        bbox={"facecolor": "white", "alpha": 0.65, "edgecolor": "none", "pad": 0.8},
    )  # fmt: skip
