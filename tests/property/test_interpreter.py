"""The interpreter's formulas come to what Python does, on every field; what it does not know it refuses."""

import sys
import textwrap

import pytest

from host_sim.proof.whole import terms
from host_sim.proof.whole.interpreter import Interpreter
from host_sim.proof.whole.numbers_of import compiled
from host_sim.proof.whole.program import Refused, Stamp
from host_sim.proof.whole.ranges import RANGES, STAMP
from host_sim.proof.whole.situation import Situation
from host_sim.proof.whole.snapshot import field_of, offset_of
from tests.property.any_state import MadeUp

STEPS = 300
GAP_MAX_US = 532_620_911


def fields_after(situation: Situation) -> dict[str, object]:
    """Return the term of every number and truth that the controller has after a step."""
    found = {}
    for key, path in situation.names.items():
        value = situation.interpreter.store[key]
        if isinstance(value, Stamp) or terms.is_integer(value) or terms.is_truth(value):
            found[path] = value
    return found


@pytest.mark.parametrize("kind", [0, 1, 2])
@pytest.mark.parametrize("edges", [(0, 0), (1, 1), (3, 2)])
def test_a_step_as_a_formula_comes_to_what_python_does_on_every_field(kind: int, edges: tuple[int, int]):
    situation = Situation(kind)
    situation.remember_anything()
    now_us = terms.integer("now", -(1 << 29), GAP_MAX_US)
    inputs = situation.any_inputs(now_us, *edges)
    situation.interpreter.call(situation.controller, "step", inputs, Stamp(now_us))
    after = fields_after(situation)
    assert set(RANGES) <= set(after)
    assert len(after) > 230
    work_out = compiled([getattr(value, "offset", value) for value in after.values()])
    compared = driven = 0
    for seed in range(STEPS):
        made = MadeUp(seed, kind, *edges)
        predicted = work_out(made.numbers)
        try:
            made.controller.step(made.inputs, made.now_us)
        except (ZeroDivisionError, IndexError):
            continue  # A state that no controller comes to.
        compared += 1
        driven += made.controller.outputs.command_mv > 0
        for (path, term), number in zip(after.items(), predicted, strict=True):
            value = field_of(made.controller, path)
            if isinstance(term, Stamp) and RANGES.get(path) == STAMP:
                value, number = offset_of(value, made.last_us), offset_of(int(number), 0)
            elif isinstance(term, Stamp):
                continue  # A time that the constructor wrote and no step changes.
            assert number == value, (seed, path)
    assert compared > STEPS * 9 // 10
    assert driven > STEPS // 20


@pytest.mark.parametrize("kind", [0, 1, 2])
def test_constructors_as_formulas_come_to_what_python_builds(kind: int):
    situation = Situation(kind)
    after = fields_after(situation)
    work_out = compiled([*(getattr(value, "offset", value) for value in after.values()), situation.legal])
    for seed in range(100):
        made = MadeUp(seed, kind, 0, 0)
        fresh = type(made.controller)(made.settings, 0)
        *numbers, legal = work_out(made.numbers)
        assert legal
        for (path, _), number in zip(after.items(), numbers, strict=True):
            assert number == field_of(fresh, path), (seed, path)


def test_settings_that_the_constructor_refuses_are_not_legal_in_the_formula_either():
    situation = Situation(0)
    work_out = compiled([situation.legal])
    numbers = MadeUp(1, 0, 0, 0).numbers
    assert work_out(numbers) == [True]
    assert work_out({**numbers, "release_rpm": 30, "engage_rpm": 30}) == [False]
    assert work_out({**numbers, "engage_edges": 4}) == [False]


REFUSED = {
    "a loop that nobody knows the end of": "def f(x):\n    while x > 0:\n        x -= 1\n    return x\n",
    "Mod": "def f(x):\n    return x % 2\n",
    "Lambda": "def f(x):\n    return (lambda: x)\n",
    "a constant of another kind": "def f(x):\n    return 1.5\n",
    "Try": "def f(x):\n    try:\n        return x\n    finally:\n        pass\n",
    "parameters of another kind": "def f(x=1):\n    return x\n",
    "the name hash": "def f(x):\n    return hash(x)\n",
    "else after a loop": "def f(x):\n    for x in (1, 2):\n        pass\n    else:\n        x = 3\n",
    "more than one target": "def f(x):\n    y = z = x\n    return y\n",
    "y, which not every way has set,": "def f(x):\n    if x > 0:\n        y = 1\n    return y\n",
    "min of 1": "def f(x):\n    return min(x)\n",
    "abs of 2": "def f(x):\n    return abs(x, x)\n",
    "Delete": "def f(x):\n    del x\n",
    "a loop that may return": "def f(x):\n    for y in (1, 2):\n        if x == y:\n            return 3\n",
}


@pytest.mark.parametrize("what", REFUSED)
def test_syntax_that_the_interpreter_does_not_know_is_refused_with_its_place(what, tmp_path, monkeypatch):
    name = f"firmware_{abs(hash(what))}"
    (tmp_path / f"{name}.py").write_text(textwrap.dedent(REFUSED[what]), encoding="utf-8")
    monkeypatch.syspath_prepend(str(tmp_path))
    try:
        whole = Interpreter()
        with pytest.raises(Refused, match=rf"{name}\.py:\d+: {what}"):
            whole.run(whole.function(name, "f"), [terms.integer("x", 0, 9)])
    finally:
        sys.modules.pop(name, None)


def test_a_time_stamp_can_be_used_in_no_way_but_a_difference(tmp_path, monkeypatch):
    (tmp_path / "firmware_stamps.py").write_text("def f(now_us):\n    return now_us + 5\n", encoding="utf-8")
    monkeypatch.syspath_prepend(str(tmp_path))
    whole = Interpreter()
    with pytest.raises(Refused, match="something else than integers"):
        whole.run(whole.function("firmware_stamps", "f"), [Stamp(terms.integer("now", 0, 10))])


def test_a_range_that_an_if_narrows_counts_inside_it_only():
    x = terms.integer("x", -10, 10)
    condition = terms.less(x, 0)
    inside = terms.narrow(x, -10, -1, condition, 0)
    assert (inside.high, inside.given) == (-1, {condition})
    joined = terms.choose(condition, terms.subtract(0, inside), x)
    assert (joined.low, joined.high) == (-10, 10)
    assert joined.given == frozenset()


def test_a_variable_that_a_condition_changes_is_not_narrowed_by_what_it_was(tmp_path, monkeypatch):
    text = """
    class Box:
        def __init__(self, value):
            self.value = value

        def bump(self):
            self.value -= 100
            return True

        def look(self):
            if self.value > 0 and self.bump():
                return self.value
            return 0
    """
    (tmp_path / "firmware_box.py").write_text(textwrap.dedent(text), encoding="utf-8")
    monkeypatch.syspath_prepend(str(tmp_path))
    whole = Interpreter()
    box = whole.build("firmware_box", "Box", terms.integer("x", -10, 10))
    result = whole.call(box, "look")
    work_out = compiled([result])
    assert [work_out({"x": x})[0] for x in (-3, 0, 1, 10)] == [0, 0, -99, -90]
    assert result.low <= -99
