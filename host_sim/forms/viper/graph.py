"""The objects of a built controller, and a place in one array for each of their numbers.

The firmware builds its objects once, and a step creates none. So every object has a name, the path on which
it is reached first, and every number and boolean in it has a fixed place.
"""

from collections.abc import Iterator
from dataclasses import dataclass, field

from host_sim.forms.outside import OutsideSubsetError


@dataclass(frozen=True, slots=True)
class Cell:
    """One number, or one boolean, at a place in the array."""

    at: int
    truth: bool


@dataclass(frozen=True, slots=True)
class Block:
    """A list of numbers that starts at a place."""

    at: int
    length: int


@dataclass(eq=False, slots=True)
class Component:
    """One object. `fields` are its attributes; an object outside the array is an Outside."""

    path: str
    cls: type
    fields: "dict[str, Cell | Block | Component | Outside]" = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class Outside:
    """An object that is not in the array: it is called while the step runs."""

    path: str
    cls: type


class Layout:
    """Assigns places. Read: `size` so far; `tables` of constants that are in the array."""

    def __init__(self, package: str) -> None:
        """Start with place 0 unused: in a view the sign of a place distinguishes numbers from booleans.

        Objects of other packages than `package` have no place.
        """
        self._package = package
        self.size = 1
        self.tables: dict[tuple[int, ...], int] = {}
        self._met: dict[int, Component] = {}

    def place(self, count: int) -> int:
        """Return the first of `count` new places."""
        at = self.size
        self.size += count
        return at

    def table(self, values: tuple[int, ...]) -> int:
        """Return the place where a table of constants begins."""
        if values not in self.tables:
            self.tables[values] = self.place(len(values))
        return self.tables[values]

    def add(self, thing: object, path: str, whole: bool = True) -> Component:
        """Return the component of `thing` and all below it; unless `whole`, its objects stay outside.

        An object with several references gets the shortest name, and keeps an earlier one.
        """
        found = self._named(thing, path)
        waiting = [thing] if not found.fields else []
        while waiting:
            waiting += self._fill(waiting.pop(0), whole)
        return found

    def _named(self, thing: object, path: str) -> Component:
        if id(thing) not in self._met:
            self._met[id(thing)] = Component(path, type(thing))
        return self._met[id(thing)]

    def _fill(self, thing: object, whole: bool) -> list[object]:
        """Assign places to an object's fields; return the new objects that it refers to."""
        component = self._met[id(thing)]
        found: list[object] = []
        for name in names_of(type(thing)):
            path = f"{component.path}.{name}" if component.path else name
            value = getattr(thing, name)
            if isinstance(value, int):
                component.fields[name] = Cell(self.place(1), isinstance(value, bool))
            elif isinstance(value, list) and value and all(type(item) is int for item in value):
                component.fields[name] = Block(self.place(len(value)), len(value))
            elif type(value).__module__.split(".")[0] != self._package:
                kind = type(value).__name__
                raise OutsideSubsetError(f"{path} is a {kind}, allowed are numbers, lists of them, objects")
            elif whole:
                if id(value) not in self._met:
                    found.append(value)
                component.fields[name] = self._named(value, path)
            else:
                component.fields[name] = Outside(path, type(value))
        return found


def outside_name(path: str) -> str:
    """Return the name that an outside object has in generated functions."""
    return "outside_" + path.replace(".", "_")


def names_of(cls: type) -> list[str]:
    """Return the attributes that objects of a class have, those of its bases first."""
    names: list[str] = []
    for base in reversed(cls.__mro__):
        slots = base.__dict__.get("__slots__", ())
        names += [slots] if isinstance(slots, str) else list(slots)
    return names


def components_in(component: Component) -> Iterator[Component]:
    """Yield a component and all below it, each once."""
    waiting, met = [component], {component}
    while waiting:
        one = waiting.pop(0)
        yield one
        for value in one.fields.values():
            if isinstance(value, Component) and value not in met:
                met.add(value)
                waiting.append(value)
