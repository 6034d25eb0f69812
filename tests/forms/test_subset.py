"""What is outside the translator's subset is refused, with file and line."""

from pathlib import Path

import pytest

from host_sim.forms.outside import OutsideSubsetError
from host_sim.forms.program import read_program

BASE = '''"""A module."""

LIMIT = 5
TABLE = (1, 2, 3)


def half(value: int) -> int:
    """Return a half."""
    return value // 2


class Inner:
    """A part."""

    __slots__ = ("_numbers", "count", "full")

    def __init__(self, first: int) -> None:
        """Start."""
        self._numbers = [first] * LIMIT
        self.count = 0
        self.full = False

    def add(self, value: int) -> int:
        """Change something."""
        self._numbers[self.count] = value
        self.count += 1
        return self.count


class Whole:
    """The root."""

    def __init__(self, first: int) -> None:
        """Start."""
        self.inner = Inner(first)
        self.total = 0

    def step(self, value: int) -> int:
        """Take a step."""
BODY
'''


def read(folder: Path, body: str, base: str = BASE) -> int:
    """Read the base with a body for `step`; return the line that its last line has."""
    package = folder / "small"
    package.mkdir(exist_ok=True)
    lines = "\n".join("        " + line for line in body.splitlines())
    text = base.replace("BODY", lines)
    (package / "whole.py").write_text(text, encoding="utf-8")
    read_program(folder, "small.whole", "Whole")
    return text.rstrip().count("\n") + 1


INSIDE = [
    "return value",
    "if value or self.total:\n    return 1\nreturn 0",
    "return min(value, self.inner.add(1), 3)",
    "for one in TABLE:\n    self.total += one\nreturn self.total",
    "for one in range(1, value):\n    self.total += one\nreturn self.total",
    "self.inner.add(2)\nreturn half(value) + self.inner.add(value)",
    "inner = self.inner\ninner.full = value > 3 and not inner.full\nreturn 1 if inner.full else -1",
    "while value > 0:\n    value -= 1\nreturn value",
]


@pytest.mark.parametrize("body", INSIDE)
def test_what_the_subset_has_is_taken(tmp_path, body):
    assert read(tmp_path, body) > 0


REFUSED = [
    ("return 1.5", "neither an int nor a bool"),
    ("return value / 2", "computes what the subset has not"),
    ("return value ** 2", "computes what the subset has not"),
    ("return ~value", "not in the subset"),
    ("return value // 0", "divides by 0"),
    ("return value % -3", "divides by -3"),
    ("value //= 0", "divides by 0"),
    ("return value << 31", "shifts by 31"),
    ("value >>= -1", "shifts by -1"),
    ("return 4_000_000_000", "does not fit 32 bits"),
    ("return value + (value > 1)", "is bool and must be int"),
    ("return value or 1", "is int and must be bool"),
    ("return value is 1", "compares what the subset does not"),
    ("return [value][0]", "not in the subset"),
    ("return (value, 1)[0]", "not in the subset"),
    ("return self.inner.nothing", "has no field nothing"),
    ("return self.inner.add", "is not called"),
    ("return self.inner.add(value, 1)", "takes 1 arguments"),
    ("return self.inner.add(value=1)", "positional arguments only"),
    ("return self.inner.add(*TABLE)", "positional arguments only"),
    ("return print(value)", "not a function that can be called here"),
    ("return unknown", "unknown has no value here"),
    ("return max(value)", "takes 2 to 3 arguments"),
    ("return abs(True)", "is bool and must be int"),
    ("return len(value)", "len is for"),
    ("return LIMIT[0]", "can't be indexed"),
    ("return self.step(value)", "calls itself"),
    ("other = self.inner\nother = 3\nreturn other", "give it two names"),
    ("value = True\nreturn 1", "a value of another type"),
    ("one = two = value\nreturn one", "one name and one value"),
    ("one, two = value, value\nreturn one", "not in the subset"),
    ("self.total = True\nreturn 1", "is int before and bool here"),
    ("self.other = self.inner\nreturn 1", "only a constructor may set it"),
    ("self.inner._numbers = [0] * 3\nreturn 1", "only a constructor may set it"),
    ("self.total = TABLE\nreturn 1", "can't hold table"),
    ("TABLE[0] = 1\nreturn 1", "can't be assigned to"),
    ("for one in self.inner._numbers:\n    self.total += one\nreturn 1", "not in the subset"),
    ("for one in range(3):\n    one += 1\nreturn 1", "a loop variable"),
    ("for one in range(3):\n    self.total += one\nreturn one", "a loop variable"),
    ("for one in (1, 2):\n    self.total += one\nreturn 1", "to check a constructor's arguments"),
    ("raise ValueError('no')", "only a constructor may raise"),
    ("try:\n    return 1\nexcept ValueError:\n    return 2", "not in the subset"),
    ("assert value\nreturn 1", "not in the subset"),
    ("import os\nreturn 1", "not in the subset"),
    ("while value:\n    break\nreturn 1", "not in the subset"),
    ("with value:\n    return 1", "not in the subset"),
    ("if value > 1:\n    return 1", "may end without a result"),
    ("double = value\nreturn double", "a reserved word of C"),
    ("return self.inner.add(1) + self.inner.add(2)", "two calls that change something"),
    ("return self.inner.count + self.inner.add(1)", "Inner.count is read and changed in one expression"),
    ("return min(self.inner.add(1), self.inner.count)", "Inner.count is read and changed in one expression"),
    ("self.inner.count += self.inner.add(1)\nreturn 1", "Inner.count is read and changed in one expression"),
    ("return 1 if 1 < self.inner.add(1) < value else 2", "within a chain of comparisons"),
]


@pytest.mark.parametrize(("body", "sentence"), REFUSED)
def test_what_is_outside_is_refused_with_file_and_line(tmp_path, body, sentence):
    with pytest.raises(OutsideSubsetError) as refusal:
        read(tmp_path, body)
    place, _, said = str(refusal.value).partition(": ")
    path, _, line = place.rpartition(":")
    assert Path(path) == tmp_path / "small" / "whole.py"
    first = BASE[: BASE.index("BODY")].count("\n") + 1
    within = first <= int(line) < first + body.count("\n") + 1
    assert within or sentence in ("calls itself", "may end without a result", "a reserved word of C")
    assert sentence in said


CHANGED = [
    ("class Inner:", "class Inner(int):", "has a base"),
    (
        'first: int) -> None:\n        """Start."""\n        self._n',
        "first) -> None:\n        self._n",
        "the parameter first",
    ),
    ('value: int) -> int:\n        """Change', 'value: int = 3) -> int:\n        """Change', "a default"),
    ("def half(", "@print\ndef half(", "a decorator"),
    ('"""A module."""', "import os", "at module level"),
    ('"""A module."""', "from os import path", "only names of small"),
    ('"""A module."""', "from small.missing import path", "does not exist"),
    ('"""A module."""', "from small.whole import half", "imports itself"),
    ("LIMIT = 5", "LIMIT = 5\nLIMIT = 6", "a second value"),
    ("LIMIT = 5", "LIMIT = half(10)", "not a constant of the subset"),
    ("LIMIT = 5", "LIMIT = 1 << 40", "does not fit 32 bits"),
    ("LIMIT = 5", "LIMIT = 5 // 0", "divides by 0"),
    ("LIMIT = 5", "LIMIT = {}", "not a constant of the subset"),
    ("LIMIT = 5", "LIMIT, OTHER = 5, 6", "one name with one value"),
    ('("_numbers", "count", "full")', '("_numbers", "count", "full", "more")', "more is a slot or a field"),
    ('    """A part."""', "    SIZE = 3", "in a class body"),
    ("def add(self,", "def add(", "not a method with self"),
    ("[first] * LIMIT", "[first] * first", "not a list of known length"),
    ("self.count = 0\n", "self.count = None\n", "neither an int nor a bool"),
]


@pytest.mark.parametrize(("before", "after", "sentence"), CHANGED)
def test_what_is_outside_at_module_and_class_level_is_refused(tmp_path, before, after, sentence):
    assert before in BASE
    with pytest.raises(OutsideSubsetError, match=sentence):
        read(tmp_path, "return value", BASE.replace(before, after, 1))
