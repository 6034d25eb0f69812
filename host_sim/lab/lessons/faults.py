"""Lesson 6: break it."""

from host_sim.lab.description import Choice, Lesson, Prediction, Slider, steps_between
from host_sim.lab.faults import FAULTS_TO_TRY, GUESSES, STAFFS, check_guess, try_fault, why
from host_sim.lab.faults_figure import draw_fault

LESSON = Lesson(
    title="break it",
    question="What happens when something fails?",
    task="Choose what breaks, predict what the motor does, then look.",
    inputs=(
        Choice("fault", "what breaks", tuple((one, one) for one in FAULTS_TO_TRY), next(iter(FAULTS_TO_TRY))),
        Choice("staff", "active", tuple((one, one) for one in STAFFS), STAFFS[0]),
        Slider("at_s", "when it breaks", "s", steps_between(2.5, 5.0, 0.1), 3.0),
        Slider("cadence_rpm", "cadence", "rpm", steps_between(30, 90, 5), 60),
    ),
    attempt=try_fault,
    draw=draw_fault,
    draw_hidden=lambda broken: draw_fault(broken, revealed=False),
    check=lambda broken: check_guess(broken, None),
    prediction=Prediction("What does the motor do?", GUESSES, lambda broken: broken.outcome, None, why),
)
