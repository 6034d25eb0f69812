"""Lesson 4: the power loop."""

from host_sim.lab.description import Lesson, Prediction, Slider, Switch
from host_sim.lab.loop import OVERSHOOT_MOST_PERCENT, SWING_MOST_PERCENT, Looped, check_loop, try_loop
from host_sim.lab.loop_figure import draw_loop

CALM, OVER, SURGES = (
    f"it rises without much overshoot ({OVERSHOOT_MOST_PERCENT:g} % or less)",
    "it overshoots clearly, then settles",
    "it oscillates and does not settle",
)


def _course(looped: Looped) -> str:
    if looped.swing_percent > SWING_MOST_PERCENT:
        return SURGES
    return CALM if looped.overshoot_percent <= OVERSHOOT_MOST_PERCENT else OVER


LESSON = Lesson(
    title="the power loop",
    question="Why is more gain not always better?",
    task="Find a loop that is quick and calm, but only with its anti-windup. "
    "Then switch the anti-windup off.",
    inputs=(
        Slider(
            "gain_uv_per_w",
            "gain",
            "µV/W",
            (200, 400, 800, 1200, 2000, 3000, 5000, 8000, 12000, 16000, 20000, 30000, 50000),
            400,
        ),
        Slider("integral_ms", "integral time", "ms", (20, 30, 50, 80, 120, 200, 300), 120),
        Switch("anti_windup", "anti-windup", True),
    ),
    attempt=try_loop,
    draw=draw_loop,
    check=check_loop,
    prediction=Prediction(
        "The gain is 8000 µV/W and the integral time 80 ms, and the anti-windup is off. "
        "What does the power do after the step?",
        (CALM, OVER, SURGES),
        _course,
        {"gain_uv_per_w": 8000, "integral_ms": 80, "anti_windup": False},
    ),
    parts=((0, 0, 300, 310), (306, 0, 298, 310), (608, 0, 392, 310)),
)
