"""Lesson 4's figure: the step with every part of the PI controller, with its Bode and Nyquist plots."""

from cmath import phase
from itertools import pairwise
from math import cos, degrees, log10, pi, sin

from host_sim.lab.loop import (
    OVERSHOOT_MOST_PERCENT,
    RISE_MOST_S,
    RISE_MV_PER_S,
    STEP_S,
    SWING_MOST_PERCENT,
    Looped,
)
from host_sim.lab.strip import Number, strip
from host_sim.report.svg import BLUE, GREEN, GRID, INK, ORANGE, PURPLE, QUIET, RED, YELLOW, Drawing, Panel

_SHOWN_S = (3.3, 5.0)
_TIMES = (3.5, 4, 4.5, 5)
_HZ = (0.1, 100.0)
_NYQUIST = ((-2.4, 0.6), (-2.0, 1.0))
Points = list[tuple[float, float]]


def draw_loop(looped: Looped) -> str:
    """Return the numbers and the charts as HTML."""
    rise = "never" if looped.rise_s is None else f"after {looped.rise_s:.2f} s"
    told = (
        f"Gain {looped.gain_uv_per_w}: power is reached {rise}, "
        f"overshoots {looped.overshoot_percent:.0f} percent, swings {looped.swing_percent:.0f} percent. "
        f"{gain_margin_words(looped)}, {phase_margin_words(looped)}."
    )
    drawing = Drawing(1000, 310, told)
    _power(drawing, looped)
    _error(drawing, looped)
    _volts(drawing, looped)
    _bode(drawing, looped)
    _nyquist(drawing, looped)
    return strip(_numbers(looped)) + drawing.text()


def _shown(looped: Looped, values: list[float]) -> Points:
    """Return one value of the PI controller over the time that is shown."""
    early, late = _SHOWN_S
    pairs = zip(looped.parts.time_s, values, strict=True)
    return [(time_s, value) for time_s, value in pairs if early <= time_s <= late]


def _power(drawing: Drawing, looped: Looped) -> None:
    panel = Panel(drawing, (40, 28, 250, 120), _SHOWN_S, (0.0, 450.0))
    panel.axes([], [0, 100, 200, 300, 400])
    panel.plot(_shown(looped, looped.parts.setpoint_w), ORANGE, 2.2, "7 4")
    samples = looped.samples
    early, late = _SHOWN_S
    power = [(at, w) for at, w in zip(samples.time_s, samples.power_w, strict=True) if early <= at <= late]
    panel.plot(power, GREEN, 3)
    panel.mark(STEP_S, "", QUIET)
    drawing.words(6, 18, "power, W", GREEN, 13, bold=True)
    drawing.words(290, 18, "setpoint (dashed)", ORANGE, 13, "end", bold=True)


def _error(drawing: Drawing, looped: Looped) -> None:
    panel = Panel(drawing, (40, 186, 250, 86), _SHOWN_S, (-200.0, 200.0))
    panel.axes(_TIMES, [-200, 0, 200], "seconds")
    panel.plot(_shown(looped, looped.parts.error_w), PURPLE, 2.4)
    panel.mark(STEP_S, "", QUIET)
    drawing.words(6, 176, "error: setpoint minus measured power, W", PURPLE, 13, bold=True)


def _volts(drawing: Drawing, looped: Looped) -> None:
    start_v, most_v = looped.limits_v
    parts = looped.parts
    panel = Panel(drawing, (346, 46, 250, 226), _SHOWN_S, (-1.0, 4.0))
    for begun_s, ended_s in _spans(looped):
        panel.span(begun_s, ended_s, YELLOW, 0.45)
    panel.axes(_TIMES, [-1, 0, 1, 2, 3, 4], "seconds")
    panel.level(most_v, QUIET, f"highest command {most_v:g} V")
    panel.level(start_v, QUIET, f"dead band {start_v:g} V")
    panel.plot(_shown(looped, parts.p_v), PURPLE, 2.2, "2 4")
    panel.plot(_shown(looped, parts.i_v), ORANGE, 2.4, "8 4")
    panel.plot(_shown(looped, parts.command_v), BLUE, 3)
    panel.mark(STEP_S, "", QUIET)
    drawing.words(316, 18, "P part (dotted)", PURPLE, 13, bold=True)
    drawing.words(432, 18, "I part (dashed)", ORANGE, 13, bold=True)
    drawing.words(596, 38, "command, V", BLUE, 13, "end", bold=True)
    drawing.box(316, 28, 18, 11, YELLOW, 0.6)
    drawing.words(340, 38, f"slew limit, {RISE_MV_PER_S // 1000} V/s, acts", INK, 13)


def _spans(looped: Looped) -> list[tuple[float, float]]:
    """Return the periods in which the slew limit limits the command."""
    parts = looped.parts
    early, late = _SHOWN_S
    return [
        (begun_s, ended_s)
        for (begun_s, slewed), (ended_s, _) in pairwise(zip(parts.time_s, parts.slewed, strict=True))
        if slewed and early <= begun_s and ended_s <= late
    ]


def _bode(drawing: Drawing, looped: Looped) -> None:
    """Draw gain and phase over the frequency, with the margins where they are read."""
    margins = looped.margins
    low, high = log10(_HZ[0]), log10(_HZ[1])
    gain = Panel(drawing, (648, 28, 150, 100), (low, high), (-60.0, 40.0))
    angle = Panel(drawing, (648, 172, 150, 100), (low, high), (-360.0, 0.0))
    hz = [log10(at / (2.0 * pi)) for at in margins.frequencies_rad_per_s]
    shown = [at for at, value in enumerate(hz) if low <= value <= high]
    decibels = [20.0 * log10(max(abs(point), 1e-6)) for point in margins.curve]
    angles = _unwrapped([degrees(phase(point)) for point in margins.curve])
    gain.axes([], [-40, 0, 40])
    angle.axes([], [-360, -180, 0])
    for value in (0.1, 1.0, 10.0, 100.0):
        x = angle.x_at(log10(value))
        drawing.line([(x, 272), (x, 276)], QUIET, 1)
        drawing.words(x, 289, f"{value:g}", QUIET, anchor="middle")
    gain.plot([(hz[at], decibels[at]) for at in shown], BLUE, 2.6)
    angle.plot([(hz[at], angles[at]) for at in shown], BLUE, 2.6)
    if margins.gain_times is not None and margins.surge_hz is not None:
        _margin(drawing, gain, log10(margins.surge_hz), 0.0, -20.0 * log10(margins.gain_times))
    if margins.phase_deg is not None and margins.crossover_hz is not None:
        _margin(drawing, angle, log10(margins.crossover_hz), -180.0, margins.phase_deg - 180.0)
    drawing.words(618, 18, "Bode plot: gain, dB", BLUE, 13, bold=True)
    drawing.words(618, 162, "phase, °", BLUE, 13, bold=True)
    drawing.words(798, 305, "Hz", INK, 13, "end")


def _margin(drawing: Drawing, panel: Panel, x: float, critical: float, value: float) -> None:
    """Draw a margin as a thick upright line between the curve and the critical level."""
    panel.drawing.line([panel.at(panel.x_low, critical), panel.at(panel.x_high, critical)], RED, 1, "4 3")
    drawing.line([panel.at(x, critical), panel.at(x, value)], RED, 4)


def _unwrapped(angles: list[float]) -> list[float]:
    """Return angles in degrees without jumps by a whole turn."""
    smooth = angles[:1]
    for value in angles[1:]:
        smooth.append(value - 360.0 * round((value - smooth[-1]) / 360.0))
    return smooth


def _nyquist(drawing: Drawing, looped: Looped) -> None:
    """Draw the open loop in the complex plane: left of -1 on the axis means that it surges."""
    (left, right), (low, high) = _NYQUIST
    panel = Panel(drawing, (840, 28, 154, 154), (left, right), (low, high))
    drawing.words(826, 18, "Nyquist plot", BLUE, 13, bold=True)
    panel.axes([-2, -1, 0], [-2, -1, 0, 1])
    drawing.line([panel.at(left, 0), panel.at(right, 0)], QUIET, 1)
    drawing.line([panel.at(0, low), panel.at(0, high)], QUIET, 1)
    # The part of the unit circle where the gain is 1 on the way to -1.
    circle = [panel.at(cos(at * pi / 40), sin(at * pi / 40)) for at in range(15, 61)]
    drawing.line(circle, GRID, 1.5)
    inside = [
        point for point in looped.margins.curve if left < point.real < right and low < point.imag < high
    ]
    panel.plot([(point.real, point.imag) for point in inside], BLUE, 3)
    x, y = panel.at(-1, 0)
    drawing.line([(x - 6, y - 6), (x + 6, y + 6)], RED, 3)
    drawing.line([(x - 6, y + 6), (x + 6, y - 6)], RED, 3)
    surges = looped.margins.gain_times is not None and looped.margins.gain_times <= 1.0
    colour = RED if surges else INK
    # Narrow lines: to the left is the phase plot.
    lines = gain_margin_words(looped).replace(" (", "\n(").replace("gin: ", "gin:\n").split("\n")
    lines += phase_margin_words(looped).replace(" at ", "\nat ").replace("gin: ", "gin:\n").split("\n")
    for row, words in enumerate(lines):
        drawing.words(996, 218 + 18 * row, words, colour, 13, "end")
    if surges:
        drawing.words(996, 218 + 18 * len(lines), "−1 is enclosed: it surges", colour, 13, "end", bold=True)


def gain_margin_words(looped: Looped) -> str:
    """Return the gain margin in words."""
    margins = looped.margins
    if margins.gain_times is None or margins.surge_hz is None:
        return "Gain margin: without limit"
    decibel = 20.0 * log10(margins.gain_times)
    return f"Gain margin {decibel:.1f} dB (× {_times(margins.gain_times)}) at {margins.surge_hz:.1f} Hz"


def phase_margin_words(looped: Looped) -> str:
    """Return the phase margin in words."""
    margins = looped.margins
    if margins.phase_deg is None or margins.crossover_hz is None:
        return "Phase margin: gain never 1"
    return f"Phase margin {round(margins.phase_deg)}° at {margins.crossover_hz:.1f} Hz"


def _numbers(looped: Looped) -> list[Number]:
    quick = looped.rise_s is not None and looped.rise_s <= RISE_MOST_S
    rise = "never" if looped.rise_s is None else f"{looped.rise_s:.2f} s"
    over, swing = looped.overshoot_percent, looped.swing_percent
    most = f"wanted: {OVERSHOOT_MOST_PERCENT:g} % or less"
    return [
        ("rise time, to nine tenths", rise, f"wanted: {RISE_MOST_S:g} s or less", quick),
        ("overshoot", f"{over:.0f} %", most, over <= OVERSHOOT_MOST_PERCENT),
        ("still oscillates by", f"{swing:.0f} %", f"wanted: {SWING_MOST_PERCENT:g} % or less",
         swing <= SWING_MOST_PERCENT),
    ]  # fmt: skip


def _times(factor: float) -> str:
    """Return a factor in words."""
    return f"{factor:.0f}" if factor >= 10.0 else f"{factor:.2f}"
