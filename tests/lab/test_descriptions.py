"""What every lesson's description must have, and the one call that front ends make with it."""

import json
import os
import subprocess
import sys

import pytest

from host_sim.errors import RequestError
from host_sim.lab.call import answer
from host_sim.lab.catalogue import NAMES, lesson
from host_sim.lab.description import Choice, Slider, Switch, steps_between
from host_sim.lab.teaching import teaching
from tests.lab.serving import ROOT

NUMBERS = range(1, len(NAMES) + 1)


@pytest.mark.parametrize("number", NUMBERS)
def test_inputs_start_at_something_allowed_and_sliders_ascend(number):
    described = lesson(number)
    assert described.question.endswith("?")
    for one in described.inputs:
        assert one.checked(one.start) == one.start
        assert one.label
        if isinstance(one, Slider):
            assert list(one.steps) == sorted(set(one.steps))
            assert one.unit
    assert described.checked(described.start_values()) == described.start_values()


@pytest.mark.parametrize("number", NUMBERS)
def test_a_call_shows_a_figure_and_an_open_exercise_and_its_answer_is_json(number):
    shown = answer({"lesson": number, "values": lesson(number).start_values()})
    assert "<svg" in shown["figure"]
    assert not shown["solved"]
    assert json.loads(json.dumps(shown)) == shown
    assert "outcome" not in shown


@pytest.mark.parametrize("number", NUMBERS)
def test_the_ride_says_which_prediction_is_right(number):
    described = lesson(number)
    values = described.start_values()
    answers = [
        answer({"lesson": number, "values": values, "guess": guess}) for guess in described.prediction.options
    ]
    assert [one["right"] for one in answers].count(True) == 1
    assert len({one["outcome"] for one in answers}) == 1
    assert answers[0]["values"] == described.checked(described.prediction.values or values)


@pytest.mark.parametrize("number", NUMBERS)
def test_a_teachers_solutions_solve_the_exercise(number):
    described, taught = lesson(number), teaching(number)
    assert len(taught.aims) >= 2
    assert 10 <= taught.minutes <= 60
    assert taught.solutions or described.prediction.values is None
    for values in taught.solutions:
        assert described.check(described.attempt(**described.checked(values))).solved


GOOD = {"gain_uv_per_w": 400, "integral_ms": 120, "anti_windup": True}


@pytest.mark.parametrize(
    ("request_", "words"),
    [
        ({}, "lesson is 'None'"),
        ({"lesson": True, "values": GOOD}, "lesson is 'True'"),
        ({"lesson": 7, "values": {}}, "LESSON is 7, allowed is 1 to 6"),
        ({"lesson": 4}, "values is not a table"),
        ({"lesson": 4, "values": [1]}, "values is not a table"),
        ({"lesson": 4, "values": {}}, "gain_uv_per_w is missing"),
        ({"lesson": 4, "values": {**GOOD, "place": "eu"}}, "'place' is not an input of this lesson"),
        ({"lesson": 4, "values": {**GOOD, "integral_ms": 121}}, "integral_ms is '121', allowed is a step"),
        ({"lesson": 4, "values": {**GOOD, "integral_ms": float("nan")}}, "integral_ms is 'nan'"),
        ({"lesson": 4, "values": {**GOOD, "integral_ms": True}}, "integral_ms is 'True'"),
        ({"lesson": 4, "values": {**GOOD, "integral_ms": "120"}}, "integral_ms is '120'"),
        ({"lesson": 4, "values": {**GOOD, "anti_windup": 1}}, "anti_windup is '1', allowed is true or false"),
        ({"lesson": 4, "values": GOOD, "guess": "perhaps"}, "guess is 'perhaps', allowed is one of"),
        ({"lesson": 4, "values": GOOD, "guess": ["x"]}, "guess is"),
    ],
)
def test_a_wrong_call_is_refused_in_one_sentence(request_, words):
    with pytest.raises(RequestError) as refused:
        answer(request_)
    assert words in str(refused.value)
    assert "\n" not in str(refused.value)


def test_a_choice_and_a_switch_take_what_they_offer_only():
    choice = Choice("place", "place", (("eu", "European Union"), ("uk", "United Kingdom")), "eu")
    assert choice.checked("uk") == "uk"
    with pytest.raises(RequestError, match="place is 'mars', allowed is eu, uk"):
        choice.checked("mars")
    with pytest.raises(RequestError, match="on is '0'"):
        Switch("on", "on", True).checked(0)
    assert steps_between(2.5, 5.0, 0.1)[3] == 2.8
    assert steps_between(0, 45, 1)[-1] == 45


def test_what_pupils_get_is_made_without_numbers_libraries_and_without_what_teachers_read():
    program = """
import sys
from host_sim.lab.call import answer
from host_sim.lab.catalogue import NAMES, lesson
for number in range(1, len(NAMES) + 1):
    assert "<svg" in answer({"lesson": number, "values": lesson(number).start_values()})["figure"]
unwanted = {"numpy", "scipy", "matplotlib", "control", "host_sim.lab.teaching"}
print(sorted(unwanted & set(sys.modules)))
"""
    ended = subprocess.run(
        [sys.executable, "-c", program], capture_output=True, text=True, check=True,
        env={**os.environ, "PYTHONPATH": str(ROOT)},
    )  # fmt: skip
    assert ended.stdout == "[]\n"
