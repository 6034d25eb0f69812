"""Figures of `treadle tune`: each trade-off as a curve, the present point hollow, the chosen one filled.

Two quantities share a panel: the quantity to reduce on the left, its cost on the right. Colours differ in
lightness, and every line has a label.
"""

from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.layout_engine import ConstrainedLayoutEngine
from matplotlib.ticker import MaxNLocator

from firmware.settings import TWO_CHANNELS
from host_sim.report.label_places import Label, label_level, label_points
from host_sim.report.picture import picture
from host_sim.report.ring_drawing import QUIET
from host_sim.tuning.drive_bench import DrivePoint
from host_sim.tuning.drive_rides import STEP_S
from host_sim.tuning.recommend import Tuned
from host_sim.tuning.release_rides import ReleaseMeasures
from host_sim.tuning.stop_rides import CADENCE_RPM, way_with_help_m
from host_sim.units import KM_PER_H_PER_M_PER_S, KM_PER_H_PER_MM_PER_S

COST = "#a0252f"
GAIN = "#0b5fa5"
NOW = "#8a8f98"
CHOSEN = "#14775a"
DPI = 110


@contextmanager
def drawn(path: Path, title: str, subtitle: str, size: tuple[float, float]) -> Iterator[Figure]:
    """Yield an empty figure with its headings; save and close it at the end."""
    top = 0.9 + 0.2 * subtitle.count("\n")
    layout = ConstrainedLayoutEngine(rect=(0.01, 0.01, 0.98, 1.0 - top / size[1]), hspace=0.06, wspace=0.05)
    with picture(path, size, DPI, layout=layout) as figure:
        heading = figure.text(0.02, 1.0 - 0.16 / size[1], title, fontsize=15, fontweight="bold", va="top")
        below = figure.text(0.02, 1.0 - 0.5 / size[1], subtitle, fontsize=10.5, va="top", color=QUIET)
        for words, points in ((heading, 15.0), (below, 10.5)):
            wide = words.get_window_extent().width / (0.94 * figure.bbox.width)
            words.set_fontsize(points / max(wide, 1.0))
        yield figure


def mark_both(axes: Axes, now: float, chosen: float, said: str, now_said: str = "") -> None:
    """Draw a thin line at the present setting, and a bold one at the recommended one, labelled `said`.

    Each has its words on the side away from the other; a setting that is kept has one line.
    """
    if chosen == now:
        _mark(axes, now, f"as now, {said}", True, False)
        return
    _mark(axes, now, now_said or f"now {now:g}", False, now < chosen)
    _mark(axes, chosen, said, True, chosen < now)


def _mark(axes: Axes, x: float, words: str, chosen: bool, to_the_left: bool) -> None:
    colour = CHOSEN if chosen else NOW
    axes.axvline(
        x, color=colour, linewidth=2.2 if chosen else 1.2, linestyle="-" if chosen else "--", zorder=1
    )
    # At the edge of the figure there is space on one side only.
    (place, _) = axes.transAxes.inverted().transform(axes.transData.transform((x, 0.0)))
    to_the_left = place > 0.85 or (to_the_left and place > 0.15)
    axes.annotate(
        words, (x, 1.0 if chosen else 0.93), xycoords=("data", "axes fraction"),
        xytext=(-4 if to_the_left else 4, -3), textcoords="offset points", va="top",
        ha="right" if to_the_left else "left", color=colour,
        fontweight="bold" if chosen else "normal", fontsize=9.5,
    )  # fmt: skip


def two_curves(
    axes: Axes,
    xs: Sequence[float],
    left: Sequence[float],
    right: Sequence[float],
    labels: tuple[str, str, str],
) -> Axes:
    """Draw the gain on the left axis and the cost on the right; return the right axes."""
    other = axes.twinx()
    axes.plot(xs, left, color=GAIN, marker="o", markersize=3.5, linewidth=1.8)
    other.plot(xs, right, color=COST, marker="s", markersize=3.5, linewidth=1.8, linestyle=(0, (5, 1.5)))
    axes.set_xlabel(labels[0])
    axes.set_ylabel(labels[1], color=GAIN)
    other.set_ylabel(labels[2], color=COST)
    if max(right) == 0.0:
        other.set_ylim(0.0, 1.0)  # If nothing ever goes wrong, draw a line at zero, not magnified noise.
    for one in (axes, other):
        one.set_ylim(0.0, 1.15 * max(one.get_ylim()[1], 1e-6))
        one.spines["top"].set_visible(False)
    return other


def draw_thresholds(tuned: Tuned, path: Path) -> None:
    """Draw engage edges, release cadence, share of the pitch, and the distance with help over speed."""
    bike = tuned.bike
    title = f"When help begins and ends: {bike.title}"
    subtitle = "blue: waiting time; red: failures; green: recommended; grey: now"
    with drawn(path, title, subtitle, (12.5, 8.6)) as figure:
        grid = figure.subplots(2, 2)
        _engage_panel(grid[0][0], tuned)
        _release_panel(grid[0][1], tuned)
        _pitch_panel(grid[1][0], tuned)
        _way_panel(grid[1][1], tuned)


def _engage_panel(axes: Axes, tuned: Tuned) -> None:
    curve = tuned.engage.over_edges
    edges = [float(point.engage_edges) for point in curve]
    two_curves(
        axes,
        edges,
        [point.measures.delay_s for point in curve],
        [100.0 * point.measures.false_share for point in curve],
        ("engage edges", "help comes after, mean (s)", "nudges and shaking that engage (%)"),
    )
    now, tuned_to = tuned.bike.firmware_settings, tuned.tuned.firmware_settings
    edges_per_turn = now.pulses_per_rev * (4 if now.sensor_kind == TWO_CHANNELS else 2)
    turn_deg = 360 * tuned_to.engage_edges / edges_per_turn
    mark_both(axes, now.engage_edges, tuned_to.engage_edges, f"{tuned_to.engage_edges} = {turn_deg:.0f}°")
    axes.xaxis.set_major_locator(MaxNLocator(integer=True))
    axes.set_title(f"Engage: edges in a row, from {tuned_to.engage_rpm} rpm on", loc="left", fontsize=11)


def _release_panel(axes: Axes, tuned: Tuned) -> None:
    curve = tuned.release.over_rpm
    two_curves(
        axes,
        [float(point.release_rpm) for point in curve],
        [point.measures.run_on_s for point in curve],
        [_all_lapses(point.measures) for point in curve],
        ("release cadence (rpm)", "stop is seen after, mean (s)", "lapses a minute, sound and flawed rings"),
    )
    now, tuned_to = tuned.bike.firmware_settings, tuned.tuned.firmware_settings
    mark_both(axes, now.release_rpm, tuned_to.release_rpm, f"{tuned_to.release_rpm} rpm")
    axes.set_title(
        f"Release: legs that wander about {tuned.release.slowest_rpm:.0f} rpm", loc="left", fontsize=11
    )


def _all_lapses(measures: ReleaseMeasures) -> float:
    return measures.lapses_per_min + measures.weak_lapses_per_min + measures.missing_lapses_per_min


def _pitch_panel(axes: Axes, tuned: Tuned) -> None:
    curve = tuned.release.over_percent
    two_curves(
        axes,
        [float(point.stop_pitch_percent) for point in curve],
        [point.measures.run_on_s for point in curve],
        [point.measures.missing_lapses_per_min for point in curve],
        (
            "stop gap, % of the last measured pitch",
            "stop is seen after, mean (s)",
            "lapses a minute, a magnet missing",
        ),
    )
    now = tuned.bike.firmware_settings.stop_pitch_percent
    tuned_to = tuned.tuned.firmware_settings.stop_pitch_percent
    mark_both(axes, now, tuned_to, f"{tuned_to} %")
    axes.set_title("Stop gap: the wait for the next edge, a magnet missing", loc="left", fontsize=11)


def _way_panel(axes: Axes, tuned: Tuned) -> None:
    bike = tuned.bike
    cutoff_km_per_h = bike.firmware_settings.cutoff_speed_mm_per_s * KM_PER_H_PER_MM_PER_S
    speeds = np.linspace(3.0, cutoff_km_per_h, 80)
    both = ((bike.firmware_settings, NOW, "now"), (tuned.tuned.firmware_settings, CHOSEN, "recommended"))
    ways = [
        np.array([way_with_help_m(one, speed / KM_PER_H_PER_M_PER_S, CADENCE_RPM) for speed in speeds])
        for one, _, _ in both
    ]
    apart = ways[1] - ways[0]
    alike = bool(np.max(np.abs(apart)) < 0.03 * np.max(ways))
    widest = int(np.argmax(np.abs(apart))) if not alike else len(speeds) // 2
    labels = []
    for way, (_, colour, text) in zip(ways, both, strict=True):
        axes.plot(speeds, way, color=colour, linewidth=2.2 if colour == CHOSEN else 1.4)
        place = (float(speeds[widest]), float(way[widest]))
        if not (alike and colour == NOW):
            labels.append(Label(place, "now and recommended alike" if alike else text, colour))
    limit_m = bike.firmware_settings.cutoff_distance_mm / 1000.0
    axes.axhline(limit_m, color=COST, linewidth=1.4, linestyle=(0, (5, 1.5)))
    axes.set(ylim=(0.0, 1.15 * max(limit_m, float(axes.get_ylim()[1]))), xlabel="speed (km/h)")
    axes.set_ylabel("distance with help after the last edge (m)")
    axes.set_title(f"Cut-off distance at {CADENCE_RPM:.0f} rpm (computed)", loc="left", fontsize=11)
    axes.spines[["top", "right"]].set_visible(False)
    label_level(axes, f"cut-off distance that is set, {limit_m:g} m", limit_m, COST)
    label_points(axes, labels)


def draw_rates(tuned: Tuned, path: Path) -> None:
    """Draw jerk against waiting for power over the rise rate, the comfort limit in it."""
    points = [point for point in best_by_rise(tuned.drive.tried) if point.measures.reach_s < STEP_S]
    title = f"How fast help may grow: {tuned.bike.title}"
    subtitle = "blue: time to nine tenths of the power; red: steepest rise of the push, without load"
    with drawn(path, title, subtitle, (10.5, 5.8)) as figure:
        axes = figure.subplots()
        rises = [float(point.settings.rise_mv_per_s) for point in points]
        other = two_curves(
            axes,
            rises,
            [point.measures.reach_s for point in points],
            [point.measures.jerk_m_per_s3 for point in points],
            ("rise rate (mV/s)", "power is there after (s)", "jerk (m/s³)"),
        )
        limit = tuned.priority.jerk_m_per_s3
        other.axhline(limit, color=COST, linewidth=1.0, linestyle=":")
        other.set_ylim(0.0, max(1.2 * limit, other.get_ylim()[1]))
        axes.set_xscale("log")
        shown = (100, 150, 200, 300, 400, 600, 800, 1200, 1600, 2400, 3200, 5000, 8000)
        ticks = [tick for tick in shown if min(rises) <= tick <= max(rises)]
        axes.set_xticks(ticks, [f"{tick:.0f}" for tick in ticks])
        axes.minorticks_off()
        now = tuned.bike.firmware_settings.rise_mv_per_s
        tuned_to = tuned.tuned.firmware_settings.rise_mv_per_s
        mark_both(axes, now, tuned_to, f"{tuned_to} mV/s")
        words = f"comfort limit, {tuned.priority.name}: {limit:g} m/s³"
        label_level(other, words, limit, COST, [axes])


def best_by_rise(tried: Sequence[DrivePoint]) -> list[DrivePoint]:
    """Return for every rise rate that was ridden its best point, in ascending order."""
    best: dict[int, DrivePoint] = {}
    for point in tried:
        rise = point.settings.rise_mv_per_s
        if rise not in best or point.score < best[rise].score:
            best[rise] = point
    return [best[rise] for rise in sorted(best)]
