"""Measured and predicted ride in one figure: speed, battery power, command, and when the motor helped."""

from pathlib import Path

import numpy as np
from matplotlib.axes import Axes

from host_sim.comparing.causes import Causes
from host_sim.comparing.difference import Gap
from host_sim.comparing.measured import GRID_S, Measured, Series
from host_sim.comparing.predicted import Predicted
from host_sim.report.picture import short
from host_sim.report.tuning_figures import COST, GAIN, NOW, drawn
from host_sim.units import KM_PER_H_PER_M_PER_S

SHORT_RIDE_S = 150.0
MINUTE_S = 60.0
ROWS = 4
TITLE_LETTERS = 80
OVER = "Bench over road; rider power and slope are estimated."
BENCH, ROAD = COST, GAIN  # They differ in lightness too, and the bench's line is thin and above.


def draw_compare(
    ride: Measured, predicted: Predicted, found: dict[str, Gap], causes: Causes, title: str, path: Path
) -> None:
    """Draw four panels; for a long ride also the minute in which battery power differs most."""
    whole = (0.0, ride.seconds)
    spans = [whole] if ride.seconds <= SHORT_RIDE_S else [whole, _worst_minute(ride, predicted)]
    with drawn(path, short(title, TITLE_LETTERS), _subtitle(causes), (13.0, 9.6)) as figure:
        grid = figure.subplots(
            ROWS, len(spans), squeeze=False, sharex="col", gridspec_kw={"height_ratios": (1, 1, 1, 0.42)}
        )
        for column, span in enumerate(spans):
            _column(list(grid[:, column]), ride, predicted, span)
        for row, (name, scale, unit) in enumerate(
            (("speed", KM_PER_H_PER_M_PER_S, "km/h"), ("battery_power", 1.0, "W"), ("command", 1.0, "V"))
        ):
            gap = found[name]
            grid[row, 0].set_title(
                f"{name.replace('_', ' ')}: bench minus road {gap.mean * scale:+.2g} {unit} in the mean, "
                f"{gap.rms * scale:.2g} {unit} rms",
                loc="left",
                fontsize=10,
            )
        grid[3, 0].set_title("the motor helps", loc="left", fontsize=10)
        if len(spans) > 1:
            grid[0, 1].set_title("the minute in which power differs most", loc="left", fontsize=10)


def _subtitle(causes: Causes) -> str:
    if not causes.named:
        return f"{OVER} No number of the bike file would explain a fifth of the remaining error."
    best, others = causes.named[0], len(causes.named) - 1
    also = f"; {others} other number{'s' * (others > 1)} would, too" if others else ""
    return (
        f"{OVER} A {best.number.words} of {best.value:.3g} {best.number.unit} instead of "
        f"{best.file_value:.3g} would explain {100 * best.share:.0f} % of the squared error{also}."
    )


def _worst_minute(ride: Measured, predicted: Predicted) -> tuple[float, float]:
    """Return the minute with the largest sum of squared errors of battery power."""
    total = np.concatenate(([0.0], np.cumsum((predicted.battery_w - ride.battery_w) ** 2)))
    width = round(MINUTE_S / GRID_S)
    start_s = float(np.argmax(total[width:] - total[:-width])) * GRID_S
    return start_s, start_s + MINUTE_S


def _column(panels: list[Axes], ride: Measured, predicted: Predicted, span_s: tuple[float, float]) -> None:
    time_s = (np.arange(len(ride.speed_m_per_s)) + 0.5) * GRID_S
    rows: tuple[tuple[Series, Series, str], ...] = (
        (
            ride.speed_m_per_s * KM_PER_H_PER_M_PER_S,
            predicted.speed_m_per_s * KM_PER_H_PER_M_PER_S,
            "speed, km/h",
        ),
        (ride.battery_w, predicted.battery_w, "battery power, W"),
        (ride.command_v, predicted.command_v, "command, V"),
    )
    for axes, (measured, bench, label) in zip(panels[:3], rows, strict=True):
        axes.plot(time_s, measured, color=ROAD, linewidth=2.6, alpha=0.55)
        axes.plot(time_s, bench, color=BENCH, linewidth=1.1)
        axes.set_ylabel(label)
        axes.grid(axis="y", color="#e3e3e0", linewidth=0.7)
    helps = panels[3]
    for height, spans, colour in ((1, ride.spans_s, ROAD), (0, predicted.spans_s, BENCH)):
        helps.broken_barh(
            [(start_s, end_s - start_s) for start_s, end_s in spans], (height - 0.35, 0.7), color=colour
        )
    helps.set_yticks((1, 0), ("road", "bench"))
    helps.set(ylim=(-0.6, 1.6), xlabel="time, s")
    helps.set_xlim(*span_s)
    for axes in panels:
        axes.spines[["top", "right"]].set_visible(False)
        axes.tick_params(colors=NOW, labelcolor="#1d2733")
