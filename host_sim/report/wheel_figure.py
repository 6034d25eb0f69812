"""The picture of a wheel sensor's capture: speed with faults marked, faults by speed, what to do."""

from pathlib import Path

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure

from host_sim.capture.wheel.by_speed import STILL_S
from host_sim.capture.wheel.inspection import WheelInspection
from host_sim.report.picture import advice_text, picture
from host_sim.report.ring_drawing import BAD, COLOURS, EMPTY, QUIET

LEFT, RIGHT = 0.07, 0.92
DOUBLED, NOISE = "#c77700", "#6a3d9a"
HEADLINE_LETTERS = 85
ADVICE_LETTERS = 140
ADVICE_LINES = 14
POINTS_SHOWN = 4000


def draw_wheel(found: WheelInspection, advice: list[str], why: list[str], title: str, path: Path) -> None:
    """Draw it into `path`; `title` names the capture."""
    with picture(path, (14, 10), dpi=105) as figure:
        figure.text(LEFT, 0.97, title[:70], fontsize=12, va="top", color=QUIET)
        headline = _headline(found, why)
        size = min(16.0, 16.0 * HEADLINE_LETTERS / len(headline))
        figure.text(LEFT, 0.94, headline, fontsize=size, fontweight="bold", va="top")
        _speed(figure.add_axes((LEFT, 0.62, RIGHT - LEFT, 0.245)), found)
        _bands(figure.add_axes((LEFT, 0.38, RIGHT - LEFT, 0.155)), found)
        _advice(figure, advice, why)


def _headline(found: WheelInspection, why: list[str]) -> str:
    pulses = found.turn.pulses
    number = "" if pulses.value is None else f"{pulses.value} pulse{'s' if pulses.value > 1 else ''} a turn"
    if not pulses.sure:
        number = f"number of pulses unknown{', probably ' + str(pulses.value) if pulses.value else ''}"
    head = f"Wheel sensor, {number}"
    return head + (
        f": {'; '.join(phrase for phrase in why if 'unknown' not in phrase)}".rstrip(": ") if why else ""
    )


def _speed(axes: Axes, found: WheelInspection) -> None:
    axes.spines[["top", "right"]].set_visible(False)
    axes.set_title("speed from pulse to pulse; marks show faults", loc="left", fontsize=10, color=QUIET)
    unit = "km/h" if found.speed_known else "km/h, of a wheel of 2.1 m"
    axes.set(ylabel=unit, xlabel="time, s")
    if len(found.middle_s) == 0:
        axes.text(0.5, 0.5, "no pulses", transform=axes.transAxes, ha="center", color=QUIET)
        return
    speed = np.where(found.pulses.gaps_s > STILL_S, np.nan, found.km_per_h)
    step = max(len(speed) // POINTS_SHOWN, 1)
    axes.plot(found.middle_s[::step], speed[::step], color=COLOURS["A"], linewidth=1.0)
    most = float(np.nanpercentile(speed, 99)) * 1.35 if np.any(~np.isnan(speed)) else 1.0
    for when_s, name, colour, height in (
        (found.lost_s, "pulse lost", BAD, 0.97),
        (found.pulses.double_s, "pulse doubled", DOUBLED, 0.91),
        (found.pulses.noise_s, "noise", NOISE, 0.85),
    ):
        if len(when_s):
            axes.plot(when_s, np.full(len(when_s), height * most), "|", color=colour, markersize=9)
            axes.text(
                1.004, height * most, name, transform=axes.get_yaxis_transform(), color=colour, fontsize=8.5,
                va="center", clip_on=False,
            )  # fmt: skip
    axes.set(ylim=(0.0, most), xlim=(0.0, found.seconds))


def _bands(axes: Axes, found: WheelInspection) -> None:
    """Draw faults relative to the pulses of each band of speed, %."""
    axes.spines[["top", "right"]].set_visible(False)
    axes.set_title(
        "% of the pulses at this speed: lost, doubled, and noise", loc="left", fontsize=10,
        color=QUIET,
    )  # fmt: skip
    bands = found.bands
    if not bands:
        axes.set(xticks=[], yticks=[])
        return
    kinds = (
        ("lost", BAD, [band.lost for band in bands]),
        ("doubled", DOUBLED, [band.doubled for band in bands]),
        ("noise", NOISE, [band.noise for band in bands]),
    )
    highest = 1.0
    for place, (name, colour, counts) in enumerate(kinds):
        shares = [
            100.0 * count / (band.pulses + band.lost) for count, band in zip(counts, bands, strict=True)
        ]
        highest = max(highest, *shares)
        at = np.arange(len(bands)) + 0.25 * (place - 1)
        axes.bar(at, shares, 0.23, color=colour, label=name)
        for where, share in zip(at, shares, strict=True):
            axes.text(
                where,
                share,
                f"{share:.0f}" if share >= 10 else f"{share:.1f}",
                ha="center",
                va="bottom",
                fontsize=8.5,
            )
    axes.set(ylim=(0.0, 1.25 * highest), xticks=range(len(bands)))
    axes.set_xticklabels(
        [
            f"{band.least_km_per_h:.0f} to {band.most_km_per_h:.0f} km/h\n{band.pulses} pulses"
            for band in bands
        ]
    )
    axes.set_facecolor("white")
    axes.axhline(0.0, color=EMPTY)
    axes.legend(loc="upper right", frameon=False, fontsize=9, ncols=3)


def _advice(figure: Figure, advice: list[str], why: list[str]) -> None:
    figure.text(LEFT, 0.30, "what to do", fontsize=12, fontweight="bold", va="top")
    nothing = f"not shown to be fit: {'; '.join(why)}" if why else "nothing: the pulses show no fault"
    text = advice_text(advice or [nothing], ADVICE_LETTERS, ADVICE_LINES)
    figure.text(LEFT, 0.275, text, fontsize=9.5, va="top", linespacing=1.35)
