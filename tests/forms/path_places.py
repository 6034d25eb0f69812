"""The numbers of a built controller by place, and those of objects that stand for its own."""

from collections.abc import Callable
from typing import Any

from firmware.controller import Controller
from firmware.records import Inputs
from firmware.settings import Settings
from host_sim.forms.model import Program

ROOTS = ("controller", "inputs", "settings")
Twins = dict[int, tuple[Any, Any]]
"""By the identity of a lemma's object: it, and the controller's that it stands for."""


class Places:
    """Every number of a built controller, its inputs and settings. Read: `names`, `built` (the values)."""

    def __init__(self, program: Program) -> None:
        """Build the controller that all places belong to."""
        controller = Controller(Settings({}), 0)
        self.roots: dict[str, Any] = dict(
            zip(ROOTS, (controller, Inputs(), controller.settings), strict=True)
        )
        self.names: list[str] = []
        self.built: list[int] = []
        self.paths: dict[int, str] = {}
        """By the identity of each object, the path to it."""
        self._classes = program.classes
        self._kinds: dict[type, list[Any]] = {}
        self._readers: dict[int, tuple[int, Callable[[Any], tuple[int, ...]]]] = {}
        """By the identity of an object, its first place and what reads its numbers from an object like it."""
        for root in ("inputs", "settings", "controller"):
            self._add(self.roots[root], root)

    def _add(self, one: Any, path: str) -> None:
        self.paths[id(one)] = path
        self._kinds.setdefault(type(one), []).append(one)
        owned = []
        plain: list[str] = []
        lists: list[str] = []
        for name, field in self._classes[type(one).__name__].fields.items():
            if field.type.kind == "object":
                owned += [name] if field.owned or id(getattr(one, name)) not in self.paths else []
            else:
                (lists if field.type.kind == "numbers" else plain).append(name)
        self._readers[id(one)] = len(self.names), _reader(plain, lists)
        self.names += [f"{path}.{name}" for name in plain]
        self.names += [f"{path}.{name}[{at}]" for name in lists for at in range(len(getattr(one, name)))]
        self.built += map(int, self._readers[id(one)][1](one))
        for name in owned:
            if id(getattr(one, name)) not in self.paths:
                self._add(getattr(one, name), f"{path}.{name}")

    def parts(self, one: Any) -> list[tuple[str, Any]]:
        """Return the objects that one of the controller's refers to, with the names of the fields."""
        fields = self._classes[type(one).__name__].fields
        return [(name, getattr(one, name)) for name, field in fields.items() if field.type.kind == "object"]

    def of_class(self, kind: type) -> list[Any]:
        """Return the controller's objects of a class."""
        return self._kinds[kind]

    def state(self, twins: Twins) -> dict[int, tuple[int, ...]]:
        """Return, by first place, the numbers of each object that stands for one of the controller's."""
        found = {}
        for one, twin in twins.values():
            first, reader = self._readers[id(twin)]
            found[first] = reader(one)
        return found

    def changed(
        self, before: dict[int, tuple[int, ...]], after: dict[int, tuple[int, ...]]
    ) -> tuple[tuple[int, int], ...]:
        """Return what is not in `after` as it was before, or as built where there was nothing before."""
        found = []
        for first, numbers in sorted(after.items()):
            last = before.get(first) or tuple(self.built[first : first + len(numbers)])
            if last != numbers:
                pairs = enumerate(zip(last, numbers, strict=True), first)
                found += [(place, int(new)) for place, (old, new) in pairs if old != new]
        return tuple(found)


def _reader(plain: list[str], lists: list[str]) -> Callable[[Any], tuple[int, ...]]:
    """Return a function that reads plain numbers, and after them those of lists."""

    def read(one: Any) -> tuple[int, ...]:
        numbers = tuple([getattr(one, name) for name in plain])
        for name in lists:
            numbers += tuple(getattr(one, name))
        return numbers

    return read
