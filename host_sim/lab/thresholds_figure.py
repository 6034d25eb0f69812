"""Lesson 2's figure: cadence and help, where help lapsed, and how long it ran on."""

from firmware.decide.engagement import ASSISTING
from host_sim.lab.strip import Number, strip
from host_sim.lab.thresholds import (
    ANGLE_MOST_DEG,
    END_S,
    REST_S,
    RUN_ON_MOST_S,
    START_S,
    STOP_S,
    Thresholds,
)
from host_sim.report.svg import BLUE, GREEN, INK, PURPLE, RED, Drawing, Panel

_SHOWN_FROM_S = 1.0
_EVERY = 2  # Of the samples: a point every 20 ms, about two pixels.


def draw_thresholds(tried: Thresholds) -> str:
    """Return the numbers and the chart as HTML."""
    help_deg = "never" if tried.help_deg is None else f"after {tried.help_deg:.0f} degrees"
    told = (
        f"{tried.pulses} magnets: help comes {help_deg}, lapses {tried.lapses} times, runs on for "
        f"{tried.run_on_s:.2f} s in the worst case, {tried.mean_run_on_s:.2f} s on average."
    )
    drawing = Drawing(680, 270, told)
    samples = tried.samples
    panel = Panel(drawing, (40, 32, 630, 186), (_SHOWN_FROM_S, END_S), (0.0, 80.0))
    for start_s, end_s in samples.spans(ASSISTING):
        panel.span(start_s, end_s, GREEN, 0.22)
    panel.axes([1, 2, 3, 4, 5, 6, 7], [0, 20, 40, 60, 80], "seconds", "")
    shown = [at for at in range(0, len(samples.time_s), _EVERY) if samples.time_s[at] >= _SHOWN_FROM_S]
    panel.plot([(samples.time_s[at], samples.cadence_rpm[at]) for at in shown], PURPLE, 1.6)
    panel.plot([(samples.time_s[at], samples.sensed_rpm[at]) for at in shown], BLUE, 3)
    drawing.words(6, 18, "cadence, rpm: true", PURPLE, 13, bold=True)
    drawing.words(178, 18, "and measured by the firmware", BLUE, 13, bold=True)
    drawing.box(430, 7, 22, 13, GREEN, 0.3)
    drawing.words(458, 18, "the motor may help", GREEN, 13, bold=True)
    panel.mark(START_S, "pedals start", INK, to_the_left=True)
    panel.mark(STOP_S, "pedals stop", INK)
    for lapse_s in tried.lapses_s:
        x = panel.x_at(lapse_s)
        drawing.line([(x - 8, 36), (x + 8, 36), (x, 50), (x - 8, 36)], RED, 1, fill=RED)
    _stops(drawing, panel, tried)
    return strip(_numbers(tried)) + drawing.text()


def _stops(drawing: Drawing, panel: Panel, tried: Thresholds) -> None:
    """Draw a dot for every stop, at the end of its run-on."""
    for at, run_on_s in enumerate(tried.run_ons_s):
        colour = GREEN if run_on_s <= RUN_ON_MOST_S else RED
        drawing.circle(panel.x_at(REST_S + run_on_s), panel.y_at(4.0 + 5.0 * at), 4, colour)
    left, y = panel.x_at(STOP_S) - 5, panel.y_at(8.0)
    drawing.words(left, y, "end of help, one dot per stop", INK, 13, "end")


def _numbers(tried: Thresholds) -> list[Number]:
    """Return the three numbers that matter, each with its target."""
    soon = tried.help_deg is not None and tried.help_deg <= ANGLE_MOST_DEG
    late = "never" if tried.help_deg is None else f"{tried.help_deg:.0f}° of crank"
    lapses = tried.lapses
    return [
        ("first help after", late, f"wanted: {ANGLE_MOST_DEG:.0f}° or less", soon),
        ("help lapses", f"{lapses} time{'' if lapses == 1 else 's'}", "wanted: none", lapses == 0),
        ("longest run-on", f"{tried.run_on_s:.2f} s",
         f"wanted: {RUN_ON_MOST_S:g} s or less; mean over a turn {tried.mean_run_on_s:.2f} s",
         tried.run_on_s <= RUN_ON_MOST_S),
    ]  # fmt: skip
