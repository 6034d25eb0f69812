"""Each function and method by itself, on states in which comparisons stand at their borders.

Rides seldom come to the very value at which `<` and `<=` differ. So every function that a step can reach is
called on made-up states: all numbers are drawn from a few that lie close together, or are sums, shares or
constants of the sources, one more or one less. Python and C draw the same from one seed. A state in which
Python would raise, leave 31 bits or use a negative index is no vector: the firmware never comes to it.
"""

import ast
import sys
import zlib
from collections.abc import Iterator
from pathlib import Path
from struct import Struct
from typing import Any

from firmware.controller import Controller
from firmware.records import Inputs
from firmware.settings import Settings
from host_sim.forms.c.header import public_functions
from host_sim.forms.c.names import Names
from host_sim.forms.model import BOOL, Class, Function, Program, Type
from host_sim.forms.vectors import state_places

EVERY_BIT = 0xFFFFFFFF
BORDERS_WANTED = 6
FURTHER = 30
SMALLEST, LARGEST = -(1 << 30), (1 << 30) - 1


class NoVector(Exception):
    """Python would not come to this state."""


class Watched(int):
    """A whole number whose results stay within 31 bits, and whose divisors are positive."""

    def __new__(cls, value: int) -> "Watched":
        if not SMALLEST <= value <= LARGEST:
            raise NoVector
        return super().__new__(cls, value)

    def __floordiv__(self, other: int) -> "Watched":
        return Watched(int(self) // positive(other))

    def __rfloordiv__(self, other: int) -> "Watched":
        return Watched(other // positive(self))

    def __mod__(self, other: int) -> "Watched":
        return Watched(int(self) % positive(other))

    def __lshift__(self, other: int) -> "Watched":
        return Watched(int(self) << shift(other))

    def __rlshift__(self, other: int) -> "Watched":
        return Watched(other << shift(self))

    def __rshift__(self, other: int) -> "Watched":
        return Watched(int(self) >> shift(other))

    def __neg__(self) -> "Watched":
        return Watched(-int(self))

    def __abs__(self) -> "Watched":
        return Watched(abs(int(self)))


def positive(divisor: int) -> int:
    if divisor <= 0:
        raise NoVector
    return int(divisor)


def shift(amount: int) -> int:
    if not 0 <= amount <= 30:
        raise NoVector
    return int(amount)


def _watch(name: str) -> None:
    real = getattr(int, name)
    setattr(Watched, name, lambda self, other: Watched(real(int(self), int(other))))


SEEN: dict[tuple[object, int], int] = {}
"""By place in the code: by how much its comparison missed equality, as of the last call."""


def _watch_comparison(name: str) -> None:
    real = getattr(int, name)

    def compare(self: int, other: int) -> bool:
        frame = sys._getframe(1)
        if "/firmware/" in frame.f_code.co_filename:
            SEEN[frame.f_code, frame.f_lasti] = int(self) - int(other)
        answer: bool = real(int(self), int(other))
        return answer

    setattr(Watched, name, compare)


for _sign in ("lt", "le", "gt", "ge"):
    _watch_comparison(f"__{_sign}__")
for _sign in ("add", "sub", "mul", "and", "or", "xor"):
    _watch(f"__{_sign}__")
    _watch(f"__r{_sign}__")


class WatchedList(list[int]):
    """A list of numbers without negative indices."""

    def __getitem__(self, index: Any) -> Any:
        return super().__getitem__(self._within(index))

    def __setitem__(self, index: Any, value: Any) -> None:
        super().__setitem__(self._within(index), value)

    def _within(self, index: int) -> int:
        if not 0 <= index < len(self):
            raise NoVector
        return index


class Drawing:
    """Draws numbers from a seed, as the C side does."""

    def __init__(self, seed: int, constants: list[int]) -> None:
        self._state = seed
        self._constants = constants
        self._first = self._next() % 3_000
        self._second = self._next() % 60_000

    def _next(self) -> int:
        self._state = (self._state * 1_103_515_245 + 12_345) & EVERY_BIT
        return self._state >> 8

    def truth(self) -> bool:
        return self._next() % 2 == 1

    def number(self) -> int:
        chosen = self._next() % 12
        by_one = (1, 0, 0, 0, 0, -1)[self._next() % 6]
        if chosen == 11:
            return self._constants[self._next() % len(self._constants)] + by_one
        first, second = self._first, self._second
        small = self._next() % 4
        sums = (first + second, first // 8, first - first // 8, first * 2, first // 2)
        places = (first, second, *sums, small, first, second, small)
        return places[chosen] + by_one


class MethodVectors:
    """The vectors of one program. Read: `functions`, `lines` (rows of the C program), `borders`.

    `borders` counts, by place in the code, the vectors in which a comparison stands at equality.
    """

    def __init__(self, program: Program, each: int) -> None:
        """Look for up to `each` vectors for each function."""
        self.program = program
        self.constants = constants_of(program)
        reached = program.reached([one.label for one in public_functions(program)])
        self.functions = [one for one in reached if not one.is_constructor and _is_callable(program, one)]
        self._controller = Controller(Settings({}), 0)
        self._inputs = Inputs()
        self._settings = self._controller.settings
        self._objects = dict(self._all_objects())
        self.lines: list[str] = []
        self.borders: dict[tuple[object, int], int] = {}
        self._places = list(self._all_places())
        self._drawn: tuple[int, int] = (-1, -1)
        self._values: list[int] = []
        self._given: list[int] = []
        self._changed: set[int] = set()
        self.found = [0] * len(self.functions)
        for number, function in enumerate(self.functions):
            for seed in range(each * FURTHER):
                if seed >= each and self.found[number] > 0:
                    break  # More seeds are for functions that few states suit.
                self._try(number, function, seed * len(self.functions) + number)

    def _all_objects(self) -> Iterator[tuple[str, Any]]:
        for root in (self._controller, self._inputs, self._settings):
            yield from _objects_in(self.program, self.program.classes[type(root).__name__], root)

    def _all_places(self) -> Iterator[tuple[Any, str, int, str]]:
        """Go through the words of the state and the settings: holder, field, index or -1, class and field."""
        for root in (self._controller, self._inputs):
            for path, length in state_places(self.program, self.program.classes[type(root).__name__]):
                owner, _, name = path.rpartition(".")
                holder = _followed(root, owner)
                for at in range(length) if length else (-1,):
                    yield holder, name, at, type(holder).__name__
        for name in self.program.classes["Settings"].fields:
            yield self._settings, name, -1, "Settings"

    def _try(self, number: int, function: Function, seed: int) -> None:
        """Take a vector of a seed, and from there look for states at the borders of its comparisons."""
        seen = self._take(number, function, seed, -1, 0, None)
        for site, missed in (seen or {}).items():
            if missed == 0:
                self.borders[site] = self.borders.get(site, 0) + 1
        for site, missed in (seen or {}).items():
            if missed != 0 and self.borders.get(site, 0) < BORDERS_WANTED:
                self._seek(number, function, seed, site, missed)

    def _seek(
        self, number: int, function: Function, seed: int, site: tuple[object, int], missed: int
    ) -> None:
        """Change one number by what a comparison missed, until that comparison stands at equality."""
        reads = self.program.effects[function.label].reads
        for place, before in self._numbers_read(function, reads):
            for value in (before - missed, before + missed):
                if (
                    abs(value) < 1 << 29
                    and self._take(number, function, seed, place, value, site) is not None
                ):
                    self.borders[site] = self.borders.get(site, 0) + 1
                    return

    def _numbers_read(self, function: Function, reads: frozenset[tuple[str, str]]) -> list[tuple[int, int]]:
        """Return place and value of the numbers that a function reads, its arguments among them."""
        found = []
        for place, (_, name, _, kind) in enumerate(self._places):
            if (kind, name) in reads and not isinstance(self._values[place], bool):
                found.append((place, int(self._values[place])))
        for at, kind_of in enumerate(function.parameters.values()):
            if kind_of.kind == "int":
                found.append((len(self._places) + at, int(self._given[at])))
        return found

    def _put(self, place: int, value: int) -> None:
        holder, name, at, _ = self._places[place]
        watched = value if isinstance(value, bool) else Watched(value)
        if at < 0:
            setattr(holder, name, watched)
        else:
            list.__setitem__(getattr(holder, name), at, watched)

    def _prepare(self, number: int, function: Function, seed: int) -> list[Any]:
        """Put the state of a seed in place and return the arguments; what was changed since is put back."""
        if self._drawn != (number, seed):
            drawing = Drawing(seed, self.constants)
            self._fill(drawing)
            self._drawn = (number, seed)
            self._values = [
                getattr(holder, name) if at < 0 else list.__getitem__(getattr(holder, name), at)
                for holder, name, at, _ in self._places
            ]
            self._given = [self._argument(drawing, found) for found in function.parameters.values()]
            writes = self.program.effects[function.label].writes
            self._changed = {
                at for at, (_, name, _, kind) in enumerate(self._places) if (kind, name) in writes
            }
        for place in self._changed:
            self._put(place, self._values[place])
        return list(self._given)

    def _take(
        self,
        number: int,
        function: Function,
        seed: int,
        place: int,
        value: int,
        at_border: tuple[object, int] | None,
    ) -> dict[tuple[object, int], int] | None:
        """Call a function and keep the vector; None if it is none, or not at the border looked for."""
        arguments = self._prepare(number, function, seed)
        try:
            if place >= len(self._places):
                arguments[place - len(self._places)] = Watched(value)
            elif place >= 0:
                self._put(place, value)
            SEEN.clear()
            result = self._call(function, arguments)
            seen = dict(SEEN)
            if at_border is not None and seen.get(at_border) != 0:
                return None
            words = [int(word) for word in self._words()]
        except (NoVector, ValueError, IndexError, ZeroDivisionError):
            return None
        finally:
            if 0 <= place < len(self._places):
                self._put(place, self._values[place])
        digest = zlib.crc32(Struct(f"<{len(words)}i").pack(*words))
        self.lines.append(f"    {{{number}, {seed}u, {place}, {value}, {int(result or 0)}, {digest}u}},")
        self.found[number] += 1
        return seen

    def _fill(self, drawing: Drawing) -> None:
        for root in (self._controller, self._inputs):
            for path, length in state_places(self.program, self.program.classes[type(root).__name__]):
                owner, _, name = path.rpartition(".")
                holder = _followed(root, owner)
                if length:
                    setattr(holder, name, WatchedList([Watched(drawing.number()) for _ in range(length)]))
                elif isinstance(getattr(holder, name), bool):
                    setattr(holder, name, drawing.truth())
                else:
                    setattr(holder, name, Watched(drawing.number()))
        for name in self.program.classes["Settings"].fields:
            setattr(self._settings, name, Watched(drawing.number()))

    def _argument(self, drawing: Drawing, found: Type) -> Any:
        if found.kind == "object":
            return self._objects[found.name]
        return drawing.truth() if found == BOOL else Watched(drawing.number())

    def _call(self, function: Function, arguments: list[Any]) -> Any:
        if function.owner is None:
            module = __import__(function.module.name, fromlist=[function.name])
            found = getattr(module, function.name)(*arguments)
        else:
            found = getattr(self._objects[function.owner.name], function.name)(*arguments)
        return 0 if function.returns.kind == "object" else found

    def _words(self) -> Iterator[int]:
        for root in (self._controller, self._inputs):
            for path, length in state_places(self.program, self.program.classes[type(root).__name__]):
                value = _followed(root, path)
                if length:
                    yield from value
                else:
                    yield value

    def source(self) -> str:
        """Return the C program that checks all vectors: it includes `assist.c`, to reach what is static."""
        names = Names(self.program)
        cases = []
        for number, function in enumerate(self.functions):
            cases += [f"    case {number}: {{", *self._case(names, function), "        break;", "    }"]
        template = Path(__file__).with_name("method_check.c").read_text(encoding="utf-8")
        parts = {
            "CONSTANTS": ", ".join(map(str, self.constants)),
            "FILL": "\n".join(self._filling()),
            "PLACES": "\n".join(self._pointers()),
            "WORDS": "\n".join(self._folding()),
            "CASES": "\n".join(cases),
            "VECTORS": "\n".join(self.lines),
        }
        for name, part in parts.items():
            template = template.replace(f"/*{name}*/", part)
        return template

    def _case(self, names: Names, function: Function) -> list[str]:
        given = [] if function.owner is None else [f"&{self._place(function.owner.name)}"]
        lines = []
        for at, found in enumerate(function.parameters.values()):
            if found.kind == "object":
                given.append(f"&{self._place(found.name)}")
                continue
            kind, drawn = ("bool", "draw_truth()") if found == BOOL else ("int32_t", f"argument({at})")
            lines.append(f"        const {kind} given_{at} = {drawn};")
            given.append(f"given_{at}")
        call = f"{names.function(function)}({', '.join(given)})"
        valued = function.returns.kind in ("int", "bool")
        return [*lines, f"        {'result = ' if valued else '(void)'}{call};"]

    def _place(self, name: str) -> str:
        """Return where the first object of a class is in the C program."""
        for root, kind in (("controller", "Controller"), ("inputs", "Inputs"), ("settings", "Settings")):
            path = _path_to(self.program, self.program.classes[kind], name)
            if path is not None:
                return root + path
        raise AssertionError(name)

    def _filling(self) -> Iterator[str]:
        for root in ("Controller", "Inputs"):
            for path, length in state_places(self.program, self.program.classes[root]):
                place = f"{root.lower()}.{path}"
                if length:
                    yield f"    for (int at = 0; at < {length}; at++) {{ {place}[at] = draw(); }}"
                else:
                    truth = _field_type(self.program, self.program.classes[root], path) == BOOL
                    yield f"    {place} = {'draw_truth()' if truth else 'draw()'};"
        for name in self.program.classes["Settings"].fields:
            yield f"    settings.{name} = draw();"

    def _pointers(self) -> Iterator[str]:
        for root in ("Controller", "Inputs"):
            for path, length in state_places(self.program, self.program.classes[root]):
                place = f"{root.lower()}.{path}"
                truth = _field_type(self.program, self.program.classes[root], path) == BOOL
                for index in [f"[{at}]" for at in range(length)] or [""]:
                    yield "    NULL," if truth else f"    (int32_t *)&{place}{index},"
        for name in self.program.classes["Settings"].fields:
            yield f"    &settings.{name},"

    def _folding(self) -> Iterator[str]:
        for root in ("Controller", "Inputs"):
            for path, length in state_places(self.program, self.program.classes[root]):
                place = f"{root.lower()}.{path}"
                if length:
                    yield f"    for (int at = 0; at < {length}; at++) {{ fold({place}[at]); }}"
                else:
                    yield f"    fold({place});"


def constants_of(program: Program) -> list[int]:
    """Return the whole numbers that the sources name or write, but for the largest."""
    found = {0}
    for module in program.modules.values():
        found |= {one.value for one in module.constants.values() if type(one.value) is int}
        found |= {
            node.value
            for function in program.functions.values()
            for node in ast.walk(function.node)
            if isinstance(node, ast.Constant) and type(node.value) is int
        }
    return sorted(value for value in found if -(1 << 28) < value < 1 << 28)


def _is_callable(program: Program, function: Function) -> bool:
    """Leave out what reads a constant table by an index, since Python would take a negative one.

    Left out too is what repeats something until a call says enough: on a made-up state it may never say so.
    """
    nodes = [node for one in program.reached([function.label]) for node in ast.walk(one.node)]
    indexed = [
        node.value for node in nodes if isinstance(node, ast.Subscript) and id(node.value) in program.types
    ]
    endless = [node for node in nodes if isinstance(node, ast.While) and isinstance(node.test, ast.Call)]
    return not endless and not any(program.type_of(node).kind == "table" for node in indexed)


def _objects_in(program: Program, kind: Class, found: Any) -> Iterator[tuple[str, Any]]:
    """Go through an object and what it owns; of two of a class the one that comes first is the last here."""
    inner = [field for field in kind.fields.values() if field.type.kind == "object" and field.owned]
    for field in reversed(inner):
        yield from _objects_in(program, program.classes[field.type.name], getattr(found, field.name))
    yield kind.name, found


def _path_to(program: Program, kind: Class, name: str) -> str | None:
    if kind.name == name:
        return ""
    for field in kind.fields.values():
        if field.type.kind == "object" and field.owned:
            path = _path_to(program, program.classes[field.type.name], name)
            if path is not None:
                return f".{field.name}{path}"
    return None


def _followed(root: Any, path: str) -> Any:
    for name in path.split(".") if path else ():
        root = getattr(root, name)
    return root


def _field_type(program: Program, kind: Class, path: str) -> Type:
    first, _, rest = path.partition(".")
    found = kind.fields[first].type
    return _field_type(program, program.classes[found.name], rest) if rest else found
