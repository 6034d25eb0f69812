"""Lesson 5: selector, throttle, place."""

from host_sim.lab.description import Choice, Lesson, Prediction, Slider, Switch, steps_between
from host_sim.lab.levers import Levered, check_levers, places_to_choose, try_levers
from host_sim.lab.levers_figure import draw_levers

NOT_AT_ALL, WALKING, TO_THE_END, ON = (
    "not at all",
    "to walking pace, 4 to 9 km/h",
    "to 25 km/h",
    "beyond 30 km/h",
)
_WALKING_KM_PER_H, _END_KM_PER_H = 9.0, 28.0


def _drives(tried: Levered) -> str:
    ends = tried.ends_km_per_h
    if ends is None:
        return NOT_AT_ALL
    if ends <= _WALKING_KM_PER_H:
        return WALKING
    return TO_THE_END if ends <= _END_KM_PER_H else ON


_PLACES = tuple((name, title) for title, name in places_to_choose().items())

LESSON = Lesson(
    title="selector, throttle, place",
    question="Who decides: the rider or the law?",
    task="Find a place where the throttle alone drives at 15 km/h.",
    inputs=(
        Slider("position", "selector position", "of 4", (1, 2, 3, 4), 3),
        Slider("throttle_percent", "throttle", "percent", steps_between(0, 100, 10), 0),
        Switch("pedalling", "pedalling", True),
        Choice("place", "place", _PLACES, _PLACES[0][0]),
    ),
    attempt=try_levers,
    draw=draw_levers,
    check=check_levers,
    prediction=Prediction(
        "European Union, no pedalling, throttle fully open. Up to which speed does the throttle alone drive?",
        (NOT_AT_ALL, WALKING, TO_THE_END, ON),
        _drives,
        {"position": 3, "throttle_percent": 100, "pedalling": False, "place": "eu"},
    ),
)
