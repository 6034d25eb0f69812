"""The picture of a ride: what the road, the rider and the motor did, and why.

Left the whole ride, right one minute of it, below one second of crank edges as logic traces. A short
ride has no left column. The picture can be read without colour vision: lines differ in lightness and have
labels, a fault and a lost supply are hatched. Names come from a user's files, so no text is interpreted as
mathematics.
"""

import warnings
from collections.abc import Sequence
from pathlib import Path

import matplotlib

from host_sim.units import KM_PER_H_PER_M_PER_S

matplotlib.use("Agg")

import matplotlib.pyplot as plt
import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.patches import Rectangle

from firmware.settings import TWO_CHANNELS, Settings
from host_sim.bench.meter import RideEvent
from host_sim.bench.trace import OFF_NAME
from host_sim.report.event_labels import LABEL_ROW_POINTS, LABEL_ROWS, label_events
from host_sim.report.trace_file import RideTrace, read_trace

MINUTE_S = 60.0
SHORT_RIDE_S = 150.0  # Shown whole, without a minute picked out of it.
OUTRUN_M_PER_S = 0.1  # A smaller change is the ripple of a turn.
FLAT_M = 0.3  # A road that rises and falls by less gets no axis for its height.
TITLE_LETTERS = 60

INK = "#1d2733"
QUIET = "#6b675c"
ROAD = "#c9c2b6"
SPEED = "#0b5fa5"
CADENCE = "#6a3d9a"
WANTED = "#8a8f98"
ALLOWED = "#d1720b"
DELIVERED = "#14775a"
COMMAND = "#a0252f"
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


class RideFacts:
    """Data of the picture in addition to the trace: names, settings, events, and one second of edges."""

    def __init__(
        self,
        bike: str,
        ride: str,
        seconds: float,
        settings: Settings,
        events: list[RideEvent],
        edges: list[tuple[int, int]],
        edges_before: int,
        edges_centre_us: int | None,
        lowest_gear_m: float | None = None,
        worst: tuple[int, str] | None = None,
        estimated: Sequence[str] = (),
    ) -> None:
        """Store what the bench measured; `edges` as recorded by EdgeWindow.

        `lowest_gear_m` is the development of the lowest gear; `worst` the moment in us at which a rule was
        broken worst, and the words for it: then the enlarged second is the one around it. `estimated` names
        what a recording did not hold.
        """
        self.bike = bike
        self.ride = ride
        self.seconds = seconds
        self.settings = settings
        self.events = events
        self.edges = edges
        self.edges_before = edges_before
        self.edges_centre_us = edges_centre_us
        self.lowest_gear_m = lowest_gear_m
        self.worst = worst
        self.estimated = estimated


def draw_ride(trace_path: Path, facts: RideFacts, figure_path: Path) -> None:
    """Draw the trace in `trace_path` into `figure_path` (PNG or SVG by its suffix)."""
    short = facts.seconds <= SHORT_RIDE_S
    minute_s = None if short else _minute(facts)
    with (
        plt.rc_context({"font.size": 9.5, "axes.edgecolor": INK, "text.color": INK, "axes.labelcolor": INK}),
        plt.rc_context({"text.parse_math": False, "hatch.linewidth": 0.5}),
        warnings.catch_warnings(),
    ):
        warnings.filterwarnings("ignore", message="Glyph")  # A title in a script that the font lacks.
        figure = plt.figure(figsize=(15, 12.5))
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
        _edges(figure.add_axes((LEFT, 0.05, RIGHT - LEFT, 0.115)), facts, whole)
        _heading(figure, facts)
        figure.savefig(figure_path, dpi=110)
        plt.close(figure)


def _minute(facts: RideFacts) -> tuple[float, float]:
    """Return the minute to show in detail: from a little before the first engagement."""
    first_s = next((event.time_s for event in facts.events if event.text == "assisting"), 0.0)
    start_s = min(max(first_s - 8.0, 0.0), facts.seconds - MINUTE_S)
    return start_s, start_s + MINUTE_S


def _heading(figure: Figure, facts: RideFacts) -> None:
    figure.text(LEFT, 0.985, _short(facts.bike), fontsize=17, fontweight="bold", va="top")
    estimated = f"; {', '.join(facts.estimated)}: estimated" if facts.estimated else ""
    figure.text(LEFT, 0.957, f"ride: {_short(facts.ride)}{estimated}", fontsize=12, va="top")
    patches = [
        Rectangle((0, 0), 1, 1, facecolor=colour, alpha=min(2.2 * alpha, 1), hatch=hatch, label=label)
        for colour, alpha, hatch, label in SPANS.values()
    ]
    figure.legend(
        handles=patches, loc="upper right", bbox_to_anchor=(RIGHT + 0.007, 0.992), ncols=5, frameon=False
    )


def _short(title: str) -> str:
    return title if len(title) <= TITLE_LETTERS else title[: TITLE_LETTERS - 1] + "…"


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
    cutoff = settings.cutoff_speed_mm_per_s * 0.0036
    axes.plot(time_s, speed, color=SPEED, linewidth=1.4)
    axes.axhline(cutoff, color=SPEED, linestyle="--", linewidth=1)
    axes.set_ylim(0, max(float(speed.max()), cutoff) * 1.18)
    axes.set_ylabel("speed, km/h")
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
    axes.set_ylim(0, settings.command_max_mv / 1000 * 1.1)
    axes.set_ylabel("command voltage, V")
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


def _edges(axes: Axes, facts: RideFacts, trace: RideTrace) -> None:
    """Draw one second of crank edges, a logic trace for each channel, and the command where a rule broke."""
    axes.spines[["top", "right", "left"]].set_visible(False)
    axes.set_yticks([])
    if facts.edges_centre_us is None:
        axes.text(
            0.5, 0.5, "the pedals never engaged the motor: no second of crank edges to show",
            ha="center", va="center", transform=axes.transAxes,
        )  # fmt: skip
        axes.set_xticks([])
        return
    centre_s = facts.edges_centre_us / 1e6
    two = facts.settings.sensor_kind == TWO_CHANNELS
    times_s = [centre_s - 0.5, *(time_us / 1e6 for time_us, _ in facts.edges), centre_s + 0.5]
    levels = [facts.edges_before, *(after for _, after in facts.edges)]
    levels.append(levels[-1])
    for channel, name in enumerate("AB" if two else "A"):
        base = 1.45 * (1 - channel) if two else 0.6
        values = [base + ((level >> channel) & 1) for level in levels]
        axes.step(times_s, values, where="post", color=CADENCE if channel else SPEED, linewidth=1.6)
        _lane(axes, base + 0.5, f"channel {name}")
    if facts.worst is None:
        _engaging(axes, facts, centre_s)
    else:
        _breaking(axes, facts, trace, centre_s)
    axes.set_ylim(-0.1, 2.6)
    axes.set_xlim(centre_s - 0.5, centre_s + 0.5)
    axes.set_xlabel(
        f"one second around {centre_s:.2f} s, enlarged; time, s{_gear_words(facts, trace, centre_s)}"
    )


def _gear_words(facts: RideFacts, trace: RideTrace, from_s: float) -> str:
    """Return until when a recorded crank is faster than the wheel in its lowest gear, or nothing.

    A recording has the crank of its own bicycle; on this one the wheel may still be slower.
    """
    if facts.lowest_gear_m is None:
        return ""
    time_s, cadence_rpm = trace["time_s"], trace["cadence_rpm"]
    outruns = cadence_rpm / 60.0 * facts.lowest_gear_m > trace["speed_m_per_s"] + OUTRUN_M_PER_S
    later = time_s >= from_s
    if not bool(outruns[later][:1].any()):
        return ""
    caught = time_s[later & ~outruns]
    if len(caught) == 0:
        return ""
    return (
        f"\nthe crank turns at the given cadence; the wheel catches up with it in the lowest gear, "
        f"{facts.lowest_gear_m:g} m a turn, at {caught[0]:.1f} s"
    )


def _lane(axes: Axes, middle: float, name: str) -> None:
    """Name a lane of the enlarged second."""
    axes.text(-0.006, middle, name, transform=axes.get_yaxis_transform(), ha="right", va="center")


def _engaging(axes: Axes, facts: RideFacts, centre_s: float) -> None:
    """Mark the engagement, and number the edges that led to it."""
    settings = facts.settings
    axes.axvline(centre_s, color=DELIVERED, linewidth=1.4, linestyle="--")
    axes.axvspan(centre_s, centre_s + 0.5, color=DELIVERED, alpha=0.13, linewidth=0)
    why = (
        f"engages: {settings.engage_edges} forward edges in a row, cadence {settings.engage_rpm} rpm or more"
    )
    before = [place for place, (time_us, _) in enumerate(facts.edges) if time_us <= centre_s * 1e6]
    if settings.sensor_kind == TWO_CHANNELS and len(before) > settings.engage_edges:
        # The very first edge only shows the position of the ring and is not counted.
        for number, place in enumerate(before[-settings.engage_edges :], start=1):
            _number_edge(axes, facts, place, number)
    axes.text(centre_s + 0.006, 2.66, why, color=DELIVERED, va="bottom", fontsize=9.5)


def _number_edge(axes: Axes, facts: RideFacts, place: int, number: int) -> None:
    """Write an edge's number next to it, in the lane of the channel that changed."""
    time_us, levels = facts.edges[place]
    before = facts.edges[place - 1][1] if place else facts.edges_before
    channel = 1 if (levels ^ before) >> 1 else 0
    axes.text(
        time_us / 1e6, 1.45 * (1 - channel) + 0.5, f" {number}", color=DELIVERED, fontweight="bold",
        va="center", fontsize=10,
    )  # fmt: skip


def _breaking(axes: Axes, facts: RideFacts, trace: RideTrace, centre_s: float) -> None:
    """Mark the moment at which the rule was broken worst, and draw the command over the edges."""
    moment_us, words = facts.worst or (0, "")
    moment_s = moment_us / 1e6
    top_v = max(float(trace["command_v"].max()), 1.0)
    axes.fill_between(
        trace["time_s"], trace["command_v"] / top_v * 2.4, color=COMMAND, alpha=0.14, linewidth=0, step="post"
    )
    axes.axvline(moment_s, color=COMMAND, linewidth=1.8)
    late = moment_s > centre_s + 0.25
    axes.text(
        moment_s, 2.66, f"{words} (shaded: command, up to {top_v:.1f} V)", color=COMMAND, va="bottom",
        ha="right" if late else "left", fontsize=9.5, fontweight="bold",
    )  # fmt: skip
