"""Lesson 6's figure: legs, fault, the reactions of latch and guard, and the output."""

from firmware.decide.engagement import FAULTED
from host_sim.lab.faults import END_S, GUESSES, START_S, STOP_S, Broken
from host_sim.lab.strip import Number, strip
from host_sim.report.svg import BLUE, ORANGE, PURPLE, RED, Drawing, Panel

_LANES = (
    (2.0, "legs turn", PURPLE),
    (30.0, "fault", RED),
    (58.0, "latched", RED),
    (86.0, "guard refuses", ORANGE),
)
_FROM_S = 1.0


def draw_fault(broken: Broken, revealed: bool = True) -> str:
    """Return numbers and chart as HTML; without `revealed` only what happens up to the fault."""
    end_s = END_S if revealed else broken.at_s
    told = f"{broken.fault.capitalize()} at {broken.at_s:g} seconds"
    drawing = Drawing(
        680, 300, f"{told}: the motor {broken.outcome}." if revealed else f"{told}. What will happen?"
    )
    hidden: list[Number] = [("the motor", "?", "predict first, then see", None)]
    shown = _numbers(broken) if revealed else hidden
    panel = Panel(drawing, (112, 142, 558, 108), (_FROM_S, END_S), (0.0, 4.0))
    _lanes(drawing, panel, broken, end_s)
    panel.axes([1, 2, 3, 4, 5, 6, 7], [0, 1, 2, 3, 4], "seconds")
    samples = broken.samples
    volts = [(at, volt) for at, volt in zip(samples.time_s, samples.command_v, strict=True) if at <= end_s]
    panel.area(volts, "#cfe1ee")
    panel.plot(volts, BLUE, 3)
    drawing.words(112, 132, "command to the motor, V", BLUE, 13, bold=True)
    at = panel.x_at(broken.at_s)
    drawing.line([(at, 2), (at, 250)], RED, 1.6, "2 3")
    return strip(shown) + drawing.text()


def _lanes(drawing: Drawing, panel: Panel, broken: Broken, end_s: float) -> None:
    """Draw the bars of each lane, with its name, so that they can be read without colours."""
    samples = broken.samples
    spans = [
        [(START_S, min(STOP_S, end_s))],
        [(broken.at_s, end_s)],
        [(start_s, stop_s) for start_s, stop_s in samples.spans(FAULTED) if start_s < end_s],
        [(cut_s - 0.02, cut_s + 0.02) for cut_s in broken.guard_cuts_s if _FROM_S < cut_s < end_s],
    ]
    if broken.latched_s is not None and not spans[2] and broken.latched_s < end_s:
        spans[2] = [(broken.latched_s, end_s)]
    for (top, name, colour), held in zip(_LANES, spans, strict=True):
        drawing.words(104, top + 16, name, colour, 13, "end", bold=True)
        drawing.line([(112, top + 24), (670, top + 24)], "#dde1e6", 1)
        for start_s, stop_s in held:
            left, right = panel.x_at(start_s), panel.x_at(stop_s)
            drawing.box(left, top + 2, max(right - left, 2.0), 18, colour, 0.85)


def _numbers(broken: Broken) -> list[Number]:
    after = (
        "not before the legs stop"
        if broken.ends_s is None
        else f"{broken.ends_s - broken.at_s:.2f} s after the fault"
    )
    cause = broken.cause or "nothing"
    return [
        ("the motor", broken.outcome, _all_rides(broken, after), None),
        ("the latch says", cause, f"help goes on for {broken.run_on_s:.2f} s after pedalling", None),
    ]


def _all_rides(broken: Broken, after: str) -> str:
    """Return when help ended in the ride drawn, and what happened in rides with a later fault."""
    if len(set(broken.outcomes)) == 1:
        return f"{after}; the same in all {len(broken.outcomes)} rides"
    told = ", ".join(f"{broken.outcomes.count(one)} × {one}" for one in GUESSES if one in broken.outcomes)
    return f"it depends on the moment: {told}"
