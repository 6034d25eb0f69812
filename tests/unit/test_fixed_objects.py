"""Which fields hold one object for good, and what the compiled copy says instead of their other names."""

import ast

from host_sim.compiled.build import HOT, INTERPRETED, ROOT
from host_sim.compiled.fixed_objects import fixed_fields, with_fixed_fields

PARTS = "class Part:\n    def __init__(self) -> None:\n        self.x = 0\n"
WHOLE = (
    "class Whole:\n    def __init__(self, given: Part, number: int) -> None:\n"
    "        self.given = given\n        self.made = Part()\n        self.number = number\n"
)


def said(*texts: str) -> str:
    """Return the first text as it is compiled together with the others."""
    return with_fixed_fields(texts[0], fixed_fields(texts))


def test_a_field_that_start_sets_to_an_object_is_final():
    text = said(WHOLE, PARTS)
    assert "self.given: Final = given\n" in text
    assert "self.made: Final = Part()\n" in text
    assert "self.number = number\n" in text


def test_one_that_is_set_again_is_not():
    again = "    def f(self) -> None:\n        self.made = Part()\n        del self.given\n"
    assert "Final" not in said(WHOLE + again, PARTS)


def test_one_that_another_module_sets_is_not():
    text = said(WHOLE, PARTS, "def f(whole: Whole) -> None:\n    whole.made = Part()\n")
    assert "self.given: Final" in text
    assert "self.made = Part()" in text


def test_one_that_a_condition_or_a_loop_sets_is_not():
    text = WHOLE.replace(
        "        self.made = Part()\n", "        if number:\n            self.made = Part()\n"
    )
    assert "self.made = Part()" in said(text, PARTS)


def test_a_parameter_that_is_set_before_is_not_followed():
    text = WHOLE.replace("        self.given", "        given = Part()\n        self.given")
    assert "self.given = given" in said(text, PARTS)


def test_a_class_with_heirs_or_a_strange_base_is_left_alone():
    heir = "class Heir(Whole):\n    def f(self) -> None:\n        self.made = Part()\n"
    assert "Final" not in said(WHOLE, PARTS, heir)
    assert "Final" not in said(WHOLE.replace("Whole:", "Whole(Strange):"), PARTS)


def test_a_name_that_two_classes_share_is_left_alone():
    assert "Final" not in said(WHOLE, WHOLE, PARTS)
    assert "Final" not in said(WHOLE)  # Part is no compiled class.


def test_another_name_for_a_fixed_field_gives_way_to_it():
    use = "    def f(self) -> int:\n        part = self.made\n        return part.x + part.x\n"
    assert "        pass\n        return self.made.x + self.made.x\n" in said(WHOLE + use, PARTS)


def test_so_does_one_through_a_parameter_or_another_name():
    outer = (
        "class Outer:\n    def __init__(self) -> None:\n        self.whole = Whole(Part(), 1)\n"
        "    def f(self, other: Whole) -> int:\n        whole = self.whole\n        part = whole.made\n"
        "        far = other.made\n        return part.x + far.x\n"
    )
    assert "return self.whole.made.x + other.made.x\n" in said(outer, WHOLE, PARTS)


def test_a_name_that_is_set_twice_or_stands_in_a_formatted_text_stays():
    twice = "    def f(self) -> int:\n        part = self.made\n        part = self.given\n        return 1\n"
    assert twice in said(WHOLE + twice, PARTS)
    text = "    def g(self) -> str:\n        part = self.made\n        return f'{part.x}'\n"
    assert text in said(WHOLE + text, PARTS)


def test_a_name_through_a_parameter_that_is_set_stays():
    use = (
        "    def f(self, other: Whole) -> int:\n        part = other.made\n        other = self.other()\n"
        "        return part.x\n"
    )
    assert use in said(WHOLE + use, PARTS)


def test_every_hot_file_stays_valid_and_keeps_its_lines():
    paths = [
        one
        for part in HOT
        for one in ([ROOT / part] if part.endswith(".py") else (ROOT / part).rglob("*.py"))
    ]
    hot = [one for one in paths if not one.relative_to(ROOT).as_posix().startswith(INTERPRETED)]
    texts = [one.read_text(encoding="utf-8") for one in hot]
    fixed = fixed_fields(texts)
    assert fixed["Controller"]["crank"] == "Crank"
    assert fixed["SimBoard"]["_world"] == "World"
    assert "_world" not in fixed.get("RideMeasures", {})  # `begin` sets it, at every new start.
    for text in texts:
        changed = with_fixed_fields(text, fixed)
        ast.parse(changed)
        assert changed.count("\n") == text.count("\n")
