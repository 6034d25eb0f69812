"""Lesson 4's figure: the step on the bench, and beside it the curve that foretells the surge."""

from math import cos, pi, sin

from host_sim.lab.loop import (
    END_S,
    OVERSHOOT_MOST_PERCENT,
    RISE_MOST_S,
    STEP_S,
    SWING_MOST_PERCENT,
    Looped,
)
from host_sim.lab.strip import Number, strip
from host_sim.report.svg import BLUE, GREEN, GRID, INK, ORANGE, QUIET, RED, Drawing, Panel

_SHOWN_FROM_S = 3.0
_MOST_W = 600.0


def draw_loop(looped: Looped) -> str:
    """Return the numbers and the charts as HTML."""
    rise = "never" if looped.rise_s is None else f"after {looped.rise_s:.2f} s"
    told = (
        f"Gain {looped.gain_uv_per_w}: power is there {rise}, "
        f"overshoots {looped.overshoot_percent:.0f} percent, swings {looped.swing_percent:.0f} percent."
    )
    drawing = Drawing(680, 290, told)
    _step(drawing, looped)
    _curve(drawing, looped)
    return strip(_numbers(looped)) + drawing.text()


def _step(drawing: Drawing, looped: Looped) -> None:
    samples = looped.ridden.samples
    panel = Panel(drawing, (40, 28, 390, 214), (_SHOWN_FROM_S, END_S), (0.0, _MOST_W))
    panel.axes([3, 4, 5, 6], [0, 100, 200, 300, 400, 500, 600], "seconds")
    near = [at for at, time_s in enumerate(samples.time_s) if time_s >= _SHOWN_FROM_S]
    panel.plot([(samples.time_s[at], samples.allowed_w[at]) for at in near], ORANGE, 2.2, "7 4")
    panel.plot([(samples.time_s[at], samples.power_w[at]) for at in near], GREEN, 3)
    panel.mark(STEP_S, "", QUIET)
    drawing.words(6, 18, "on the bench: power, W", GREEN, 13, bold=True)
    drawing.words(430, 18, "asked for (dashed)", ORANGE, 13, "end", bold=True)


def _curve(drawing: Drawing, looped: Looped) -> None:
    """Draw the open loop in the complex plane: left of -1 on the axis means that it surges."""
    panel = Panel(drawing, (460, 28, 214, 214), (-2.4, 0.6), (-2.0, 1.0))
    drawing.words(460, 18, "foretold: open loop", BLUE, 13, bold=True)
    drawing.line([panel.at(-2.4, 0), panel.at(0.6, 0)], QUIET, 1)
    drawing.line([panel.at(0, -2), panel.at(0, 1)], QUIET, 1)
    # The part of the unit circle where the gain is 1 on the way to -1.
    circle = [panel.at(cos(at * pi / 40), sin(at * pi / 40)) for at in range(15, 61)]
    drawing.line(circle, GRID, 1.5)
    inside = [point for point in looped.margins.curve if point.real > -2.4 and -2.0 < point.imag < 1.0]
    panel.plot([(point.real, point.imag) for point in inside], BLUE, 3)
    x, y = panel.at(-1, 0)
    drawing.line([(x - 6, y - 6), (x + 6, y + 6)], RED, 3)
    drawing.line([(x - 6, y + 6), (x + 6, y - 6)], RED, 3)
    drawing.words(x, y - 12, "−1", RED, 14, "middle", bold=True)
    margins = looped.margins
    surges = margins.gain_times is not None and margins.gain_times <= 1.0
    words = "no surge in sight"
    if margins.gain_times is not None and margins.surge_hz is not None:
        words = f"surges at {_times(margins.gain_times)} × this gain, {margins.surge_hz:.0f} Hz"
        if surges:
            words = f"encloses −1: surges, some {margins.surge_hz:.0f} Hz"
    drawing.words(676, 262, words, RED if surges else INK, 13, "end", bold=surges)
    phase = "" if margins.phase_deg is None else f"phase margin {margins.phase_deg:.0f}°"
    drawing.words(676, 281, phase, QUIET, 13, "end")


def _numbers(looped: Looped) -> list[Number]:
    quick = looped.rise_s is not None and looped.rise_s <= RISE_MOST_S
    rise = "never" if looped.rise_s is None else f"{looped.rise_s:.2f} s"
    over, swing = looped.overshoot_percent, looped.swing_percent
    return [
        ("nine tenths after", rise, f"wanted: {RISE_MOST_S:g} s or less", quick),
        (
            "overshoot",
            f"{over:.0f} %",
            f"wanted: {OVERSHOOT_MOST_PERCENT:g} % or less",
            over <= OVERSHOOT_MOST_PERCENT,
        ),
        ("still swings by", f"{swing:.0f} %", "wanted: none to speak of", swing <= SWING_MOST_PERCENT),
    ]


def _times(factor: float) -> str:
    """Return a factor as people say it."""
    return f"{factor:.0f}" if factor >= 10.0 else f"{factor:.1f}"
