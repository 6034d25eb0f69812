"""Figures of the power loop: the identified plants, the surge limit, rides before and after."""

from pathlib import Path

import numpy as np
from matplotlib.axes import Axes
from matplotlib.ticker import ScalarFormatter

from host_sim.bench.clock import CONTROL_PERIOD_S
from host_sim.report.svg import INK
from host_sim.report.tuning_figures import CHOSEN, COST, GAIN, NOW, drawn, mark_both, two_curves
from host_sim.tuning.drive_bench import DrivePoint
from host_sim.tuning.loop_report import LoopReport
from host_sim.tuning.margins import firmware_pi_response, loop_frequencies
from host_sim.tuning.recommend import Tuned
from host_sim.tuning.surge import SURGES_SHARE, TIMES_MOST

SHOWN = (0.5, 1, 2, 3, 5, 8, 12, 20, 30, 50, 80, 120, 200, 300)


def draw_loop(tuned: Tuned, path: Path) -> None:
    """Draw the identified plants, the Nyquist plot, swing up to the surge limit, gain against disturbance."""
    loop = tuned.loop
    if loop is None:
        raise ValueError("a bicycle without a shunt has no power loop to draw")
    worst = loop.worst.margins
    subtitle = (
        f"worst over the operating range: gain margin {worst.gain:.1f}, phase {worst.phase_deg:.0f}°, "
        f"delay {1000 * worst.delay_s:.0f} ms, Ms {worst.sensitivity:.2f}.\n{loop.surge.sentence(tuned.bike)}"
    )
    with drawn(path, f"The power loop: {tuned.bike.title}", subtitle, (13.0, 9.0)) as figure:
        grid = figure.subplots(2, 2)
        _plant_panel(grid[0][0], tuned, loop)
        _nyquist_panel(grid[0][1], tuned, loop)
        _surge_panel(grid[1][0], loop)
        _gain_panel(grid[1][1], tuned)


def _plant_panel(axes: Axes, tuned: Tuned, loop: LoopReport) -> None:
    times_s = np.arange(len(tuned.plants[0].steps), dtype=np.float64) * CONTROL_PERIOD_S
    shown = times_s <= 0.25
    for plant in tuned.plants:
        bold = plant.point == loop.surge.point
        axes.plot(
            1000 * times_s[shown],
            plant.steps[shown],
            ".",
            color=GAIN if bold else NOW,
            markersize=5 if bold else 2.5,
        )
        axes.plot(
            1000 * times_s[shown],
            plant.lags.step_response(times_s[shown]),
            color=GAIN if bold else NOW,
            linewidth=2 if bold else 0.7,
        )
    strongest = max(tuned.plants, key=lambda plant: plant.model.gain)
    axes.plot(
        1000 * times_s[shown],
        strongest.model.step_response(times_s[shown]),
        color=COST,
        linewidth=1.2,
        linestyle=(0, (4, 1.5)),
    )
    axes.annotate(
        f"dashed, for the tuning rules: {strongest.model.gain:.0f} W/V,\n"
        f"lag {1000 * strongest.model.lag_s:.0f} ms, dead time {1000 * strongest.model.dead_time_s:.0f} ms "
        f"and half a period",
        (0.97, 0.06), xycoords="axes fraction", ha="right", color=COST,
    )  # fmt: skip
    axes.annotate("dots: read on the bench\nlines: fitted, two lags and a dead time", (0.97, 0.2), color=NOW,
                  xycoords="axes fraction", ha="right")  # fmt: skip
    axes.set(xlabel="after a step of the command (ms)", ylabel="measured power (W per volt)")
    axes.set_ylim(bottom=0.0)
    axes.set_title(
        f"The plant at {len(tuned.plants)} points: speed, charge, load; blue surges first, grey the others",
        loc="left",
        fontsize=11,
    )
    axes.spines[["top", "right"]].set_visible(False)


def _nyquist_panel(axes: Axes, tuned: Tuned, loop: LoopReport) -> None:
    frequencies = loop_frequencies()
    controller = firmware_pi_response(loop.gains, frequencies)
    for plant in tuned.plants:
        bold = plant.point == loop.surge.point
        response = controller * plant.response_at(frequencies)
        axes.plot(response.real, response.imag, color=GAIN if bold else NOW, linewidth=2 if bold else 0.7)
    angles = np.linspace(0.0, 2.0 * np.pi, 200)
    for radius, words in (
        (1.0 / loop.worst.margins.sensitivity, f"nearest approach, Ms {loop.worst.margins.sensitivity:.2f}"),
    ):
        axes.plot(-1.0 + radius * np.cos(angles), radius * np.sin(angles), color=CHOSEN, linewidth=1.2)
        axes.annotate(
            words, (-1.0, radius), xytext=(-20, 4), textcoords="offset points", ha="center", color=CHOSEN
        )
    axes.plot(np.cos(angles), np.sin(angles), color=INK, linewidth=0.6, linestyle=":")
    axes.annotate("gain 1", (0.57, -0.98), color=INK, fontsize=9.5, ha="right")
    axes.annotate("first to surge", (-2.05, -1.45), color=GAIN, fontsize=9.5)
    axes.annotate("other points (grey)", (-2.05, -1.62), color=NOW, fontsize=9.5)
    axes.plot([-1.0], [0.0], marker="x", color=COST, markersize=9, markeredgewidth=2)
    axes.annotate(
        "it surges here", (-1.0, 0.0), xytext=(0, 8), textcoords="offset points", ha="center", color=COST
    )
    axes.set(xlim=(-2.1, 0.6), ylim=(-1.7, 1.1))
    axes.set_aspect("equal", adjustable="box")
    axes.axhline(0.0, color=INK, linewidth=0.5)
    axes.axvline(0.0, color=INK, linewidth=0.5)
    axes.set_title("Nyquist: the loop stays outside the circle", loc="left", fontsize=11)
    axes.set(xlabel="real", ylabel="imaginary")


def _surge_panel(axes: Axes, loop: LoopReport) -> None:
    surge = loop.surge
    # Both often swing alike, so the first is drawn wider and hollow.
    for scan, colour, words, width, size in (
        (surge.free, NOW, f"fastest rates, {surge.free.rise_mv_per_s} mV/s", 4.5, 11),
        (surge.felt, GAIN, f"chosen rates, {surge.felt.rise_mv_per_s} mV/s", 1.6, 5),
    ):
        if not (scan.model or scan.bench):
            continue
        axes.plot(
            [one.factor for one in scan.model],
            [100 * one.swing_share for one in scan.model],
            color=colour,
            linewidth=width,
            label=f"predicted, {words}",
        )
        axes.plot(
            [one.factor for one in scan.bench],
            [100 * one.swing_share for one in scan.bench],
            "o",
            color=colour,
            markersize=size,
            fillstyle="none" if colour == NOW else "full",
            label=f"ridden, {words}",
        )
    _mark_margin(axes, surge.margin)
    axes.axhline(100 * SURGES_SHARE, color=INK, linewidth=0.6, linestyle=":")
    axes.annotate("beyond this it surges", (0.02 * TIMES_MOST, 100 * SURGES_SHARE), xytext=(0, 3),
                  textcoords="offset points", color=INK, fontsize=9)  # fmt: skip
    tops = [100 * one.swing_share for one in surge.felt.model + surge.felt.bench]
    axes.set_ylim(0.0, max(2.5 * max(tops, default=0.0), 8 * 100 * SURGES_SHARE))
    axes.set_xlim(left=0.0)
    axes.set(xlabel="times the chosen gain", ylabel="swing of the power long after a disturbance (%)")
    if surge.felt.bench:
        axes.legend(
            fontsize=8.5, framealpha=0.85, edgecolor="none", loc="upper left", bbox_to_anchor=(0.0, 0.93)
        )
    else:
        axes.annotate(
            f"up to {TIMES_MOST:.0f} times the chosen gain\nnothing comes near to surging: not ridden",
            (0.5, 0.6), xycoords="axes fraction", ha="center", color=INK,
        )  # fmt: skip
    axes.set_title("Swing up to the surge limit", loc="left", fontsize=11)
    axes.spines[["top", "right"]].set_visible(False)


def _mark_margin(axes: Axes, margin: float) -> None:
    """Mark the gain margin, or say that it is outside the drawing."""
    if margin > TIMES_MOST:
        axes.set_xlim(right=1.05 * TIMES_MOST)
        axes.annotate(f"gain margin {margin:.0f}, beyond →", (0.99, 0.3), ha="right", color=COST,
                      xycoords="axes fraction")  # fmt: skip
        return
    axes.axvline(margin, color=COST, linewidth=1.4, linestyle=(0, (5, 1.5)))
    axes.annotate(f"gain margin {margin:.1f}", (margin, 0.3), va="bottom", color=COST, ha="right",
                  xycoords=("data", "axes fraction"), xytext=(-4, 0), textcoords="offset points")  # fmt: skip


def _gain_panel(axes: Axes, tuned: Tuned) -> None:
    best: dict[float, DrivePoint] = {}
    for point in tuned.drive.tried:
        strength = point.settings.gain_uv_per_w / point.settings.integral_ms
        if strength not in best or point.score < best[strength].score:
            best[strength] = point
    strengths = sorted(best)
    points = [best[strength] for strength in strengths]
    two_curves(
        axes,
        strengths,
        [point.measures.disturbance_percent for point in points],
        [point.measures.swing_percent for point in points],
        ("gain over integral time (µV/W per ms)", "a slope moves the power by (%)", "swing from noise (%)"),
    )
    axes.set_xscale("log")
    axes.xaxis.set_major_formatter(ScalarFormatter())
    axes.set_xticks([tick for tick in SHOWN if min(strengths) <= tick <= max(strengths)])
    axes.minorticks_off()
    now, chosen = tuned.bike.firmware_settings, tuned.drive.chosen.settings
    before, after = (one.gain_uv_per_w / one.integral_ms for one in (now, chosen))
    mark_both(
        axes,
        before,
        after,
        f"{chosen.gain_uv_per_w} µV/W, {chosen.integral_ms} ms",
        f"now {now.gain_uv_per_w}, {now.integral_ms} ms",
    )
    axes.set_title(
        "Holding the power, and what noise does (each at its best rise rate)",
        loc="left",
        fontsize=11,
    )
