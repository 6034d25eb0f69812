"""Small programs with what the firmware may not have: the board form computes what Python computes."""

import importlib
import sys

import pytest

from host_sim.forms.outside import OutsideSubsetError
from host_sim.forms.program import read_program
from host_sim.forms.viper.module import Fused
from tests.forms.fused_forms import loaded

SETTINGS = '''
class Given:
    """Values."""

    __slots__ = ("a",)

    a: int

    def __init__(self, a: int) -> None:
        self.a = a
'''
HEAD = """
from {package}.given import Given

STEPS: tuple[int, ...] = (2, 5)
TABLE: tuple[tuple[int, ...], ...] = ((1, 2, 3), (4, 5, 6))


class Root:
    __slots__ = ("given", "hits", "last", "list", "x")

    def __init__(self, given: Given, now_us: int) -> None:
        self.given = given
        self.hits = 0
        self.x = 7
        self.last = now_us
        self.list = [given.a] * 4

"""
PROGRAMS = {
    "an argument that the callee's first line changes": """
    def step(self, n: int) -> None:
        self.twice(self.x, n)

    def twice(self, before: int, n: int) -> None:
        self.x = n
        self.hits = before * 100 + self.x
""",
    "a parameter that is assigned to while the caller still needs its variable": """
    def step(self, n: int) -> None:
        kept = n + 1
        self.x = self.lowered(kept)
        self.hits = kept

    def lowered(self, value: int) -> int:
        value -= 5
        if value < 0:
            value = 0
        return value
""",
    "a return out of a loop": """
    def step(self, n: int) -> None:
        self.x = self.first_over(n)

    def first_over(self, n: int) -> int:
        for place in range(10):
            if place * place > n:
                return place
        return -1
""",
    "returns in nested branches, called twice": """
    def step(self, n: int) -> None:
        self.x = self.kind(n)
        self.x = self.x * 10 + self.kind(n - 3)

    def kind(self, n: int) -> int:
        if n > 0:
            if n > 4:
                return 3
            self.hits += 1
        elif n < -2:
            return 1
        self.last += 1
        return 2
""",
    "or and and whose later parts change something": """
    def step(self, n: int) -> None:
        if n > 3 or self.hit():
            self.x += 1
        if n > 1 and self.hit() and not self.hit():
            self.x += 10

    def hit(self) -> bool:
        self.hits += 1
        return self.hits & 1 == 1
""",
    "floor division and remainder of negative numbers": """
    def step(self, n: int) -> None:
        self.x = (n - 4) // 3
        self.hits = (n - 4) % 3
        self.last = -(n - 4) >> 1
""",
    "floor division of negative numbers by powers of two": """
    def step(self, n: int) -> None:
        self.x = (n * n - 40) // 8 + (n - 4) // 1
        self.hits = (3 - n * n) // 2
        self.hits //= 4
""",
    "a sign in the highest bit of a mask": """
    def step(self, n: int) -> None:
        self.x = self.signed(n * 3, 7) * 100 + self.signed(self.x, self.hits)
        self.hits = self.unlike(n, 3)

    def signed(self, later: int, earlier: int) -> int:
        difference = (later - earlier) & 15
        if difference >= 8:
            return difference - 8 - 8
        return difference

    def unlike(self, later: int, earlier: int) -> int:
        difference = (later - earlier) & 15
        if difference >= 7:
            return difference - 7 - 7
        return difference
""",
    "a table and a list by number": """
    def step(self, n: int) -> None:
        row = n & 1
        self.list[n & 3] = TABLE[row][n % 3] + self.list[n + 1 & 3]
        self.list[n + 2 & 3] += 2
        self.x = self.list[n & 3]
""",
    "loops in loops, with a variable that lives on": """
    def step(self, n: int) -> None:
        total = 0
        for outer in range(3):
            inner = outer
            while inner < 3:
                total += inner * n
                inner += 1
        self.x = total
        for value in STEPS:
            self.hits += value if n > value else 1
""",
    "smallest, largest, absolute": """
    def step(self, n: int) -> None:
        self.x = min(n, 3, self.hits) + max(-n, abs(n - 6))
        self.hits = abs(-n)
""",
    "chains of comparisons": """
    def step(self, n: int) -> None:
        self.x = 1 if 1 < n - 1 <= self.given.a < 9 else 0
        self.hits = 3 if not 2 <= n <= 4 else self.hits
""",
}  # fmt: skip


def both(tmp_path, monkeypatch, name, body):
    """Return the interpreted class, its values' class, and the generated module."""
    package = "small_" + "".join(letter if letter.isalnum() else "_" for letter in name)
    folder = tmp_path / package
    folder.mkdir()
    (folder / "__init__.py").write_text("")
    (folder / "given.py").write_text(SETTINGS)
    (folder / "root.py").write_text(HEAD.format(package=package) + body)
    monkeypatch.syspath_prepend(str(tmp_path))
    importlib.invalidate_caches()
    root, given = importlib.import_module(f"{package}.root"), importlib.import_module(f"{package}.given")
    program = read_program(tmp_path, f"{package}.root", "Root")
    return root.Root, given.Given, Fused(program, root.Root(given.Given(1), 0), {}, wide=False)


@pytest.mark.parametrize("name", PROGRAMS)
def test_a_small_program_comes_to_the_same(tmp_path, monkeypatch, name):
    interpreted, given, fused = both(tmp_path, monkeypatch, name, PROGRAMS[name])
    module = loaded(fused)
    here, there = interpreted(given(5), 11), module.Root(given(5), 11)
    for n in (0, 1, 2, 3, 4, 5, 6, 7, 3, 3, 12):
        here.step(n)
        there.step(n)
        for path, place in fused.cells.items():
            assert there._cells[place] == eval(f"root.{path}", {"root": here}), (n, path)


REFUSED = {
    "an object that changes within a branch": """
    def step(self, n: int) -> None:
        which = self.given
        if n > 1:
            which = self.given
        self.x = which.a
""",
    "a place outside of a list": """
    def step(self, n: int) -> None:
        self.x = self.list[4]
""",
}


@pytest.mark.parametrize("name", REFUSED)
def test_what_can_not_be_translated_is_refused_with_file_and_line(tmp_path, monkeypatch, name):
    with pytest.raises(OutsideSubsetError, match=r"root\.py:\d+: "):
        both(tmp_path, monkeypatch, name, REFUSED[name])
    assert sys.modules
