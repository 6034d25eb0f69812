"""Lesson 1: two channels."""

from host_sim.lab.description import Lesson, Prediction, Slider, Switch, steps_between
from host_sim.lab.direction import Turned, check_direction, turn_crank
from host_sim.lab.direction_figure import draw_direction

EVERY, FEWER, BACKWARD, INVALID = (
    "forward, every edge",
    "forward, but too few edges",
    "backward, without one invalid jump",
    "nothing: it notices that it missed something (invalid jumps)",
)


def _counted(turned: Turned) -> str:
    if turned.invalid:
        return INVALID
    if turned.count < 0:
        return BACKWARD
    return EVERY if turned.count == len(turned.true_levels) - 1 else FEWER


LESSON = Lesson(
    title="two channels",
    question="How does the board know which way the crank turns?",
    task="Turn the crank forward by half a turn or more, and make the board count backward "
    "without one invalid jump. Don't exchange the wires.",
    inputs=(
        Slider("angle_deg", "turn the crank", "degrees", steps_between(-360, 360, 1), 100),
        Slider(
            "look_every_deg", "read only every … (0: at every edge)", "degrees", steps_between(0, 45, 1), 0
        ),
        Switch("swapped", "exchange the two wires", False),
    ),
    attempt=turn_crank,
    draw=draw_direction,
    check=check_direction,
    prediction=Prediction(
        "The crank turns forward by a whole turn, but the board reads only every 22 degrees. "
        "What does it count?",
        (EVERY, FEWER, BACKWARD, INVALID),
        _counted,
        {"angle_deg": 360, "look_every_deg": 22, "swapped": False},
    ),
    parts=((0, 0, 250, 300), (262, 0, 418, 300)),
)
