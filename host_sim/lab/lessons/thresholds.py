"""Lesson 2: thresholds."""

from host_sim.lab.description import Lesson, Prediction, Slider, steps_between
from host_sim.lab.thresholds import Thresholds, check_thresholds, try_thresholds
from host_sim.lab.thresholds_figure import draw_thresholds

_RUN_ONS_S = (0.2, 0.4)
SHORT, MIDDLE, LONG = "less than 0.2 s", "0.2 to 0.4 s", "more than 0.4 s"


def _run_on(tried: Thresholds) -> str:
    if tried.run_on_s < _RUN_ONS_S[0]:
        return SHORT
    return MIDDLE if tried.run_on_s <= _RUN_ONS_S[1] else LONG


LESSON = Lesson(
    title="thresholds",
    question="How soon may the motor start, and how soon must it stop?",
    task="Is there a setting for 8 magnets that meets all three targets? Find the fewest magnets that do.",
    inputs=(
        Slider("pulses", "magnets", "magnets", (4, 6, 8, 10, 12, 16, 20, 24, 32), 8),
        Slider("engage_edges", "edges before engaging", "edges", steps_between(2, 24, 2), 6),
        Slider("stop_percent", "stop gap, of the last pitch", "percent", steps_between(100, 240, 20), 120),
    ),
    attempt=try_thresholds,
    draw=draw_thresholds,
    check=check_thresholds,
    prediction=Prediction(
        "Eight magnets; the stop gap is set to 200 percent of a pitch. The rider pedals slowly, at 32 rpm, "
        "and stops. How long does help go on in the worst case?",
        (SHORT, MIDDLE, LONG),
        _run_on,
        {"pulses": 8, "engage_edges": 6, "stop_percent": 200},
    ),
)
