"""Lesson 3: slew."""

from host_sim.lab.description import Lesson, Prediction, Slider, steps_between
from host_sim.lab.slew import Slewed, check_slew, try_slew
from host_sim.lab.slew_figure import draw_slew

GENTLER, ALIKE, HARDER = (
    "more slowly than it rose",
    "about as fast as it rose",
    "more than three times as fast as it rose",
)
_BETWEEN = "up to three times as fast as it rose"


def _cut(tried: Slewed) -> str:
    ratio = -tried.cut_m_per_s3 / tried.worst_m_per_s3
    if ratio < 0.8:
        return GENTLER
    if ratio < 1.25:
        return ALIKE
    return HARDER if ratio > 3.0 else _BETWEEN


LESSON = Lesson(
    title="slew",
    question="How fast may the push rise?",
    task="Set up the trike for its hardest case: gentle, but still quick.",
    inputs=(
        Slider(
            "rise_mv_per_s",
            "rise rate",
            "mV/s",
            (50, 100, 200, 300, 400, 600, 800, 1000, 1200, 1500, 2000, 3000, 5000),
            400,
        ),
        Slider("load_kg", "load in the box", "kg", steps_between(0, 150, 10), 60),
    ),
    attempt=try_slew,
    draw=draw_slew,
    check=check_slew,
    prediction=Prediction(
        "The rise rate is 200 mV/s, so the push rises gently. How does it fall when pedalling stops?",
        (GENTLER, ALIKE, _BETWEEN, HARDER),
        _cut,
        {"rise_mv_per_s": 200, "load_kg": 60},
    ),
)
