"""The path vectors of the proofs as calls of the firmware, so that other forms of it can be called alike.

A lemma puts a component into some state, calls the firmware and checks the result. Here every lemma is
run on the numbers of each of its vectors, and each call of the firmware that it makes is written down: which
function of which object, its arguments, all numbers of all objects that it can reach, before and after, and
its result. The objects stand for those of one built controller: a lemma's wheel is the controller's wheel.
"""

import importlib
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from functools import wraps
from pathlib import Path
from typing import Any

from host_sim.forms.c.header import public_functions
from host_sim.forms.model import Function, Program
from tests.forms.path_places import Places, Twins
from tests.runtime.replay_vectors import VectorReplay, import_all


@dataclass(frozen=True, slots=True)
class Entry:
    """A function that lemmas call: for one object, and for the objects that it is given by name."""

    label: str
    receiver: str | None
    objects: tuple[tuple[str, str], ...]


@dataclass(frozen=True, slots=True)
class Call:
    """One call. Numbers stand by place; `before` is what is not as built, `after` what the call changed."""

    entry: int
    arguments: tuple[int, ...]
    before: tuple[tuple[int, int], ...]
    after: tuple[tuple[int, int], ...]
    result: int


class PathCalls:
    """All calls of all vectors. Read: `entries`, `calls` (each once), `vectors`, `silent` (lemmas)."""

    def __init__(self, program: Program, vectors: Path) -> None:
        """Run every lemma on its vectors: a quarter of a minute."""
        self.places = Places(program)
        self.entries: list[Entry] = []
        self.vectors = 0
        self.silent: set[str] = set()
        self._numbers: dict[Entry, int] = {}
        self._calls: dict[Call, int] = {}
        """By call, the vector that made it first."""
        self._made = 0
        self._busy = False
        reached = program.reached([one.label for one in public_functions(program)])
        modules: list[Any] = import_all()
        with self._watched(reached, modules):
            replay = _Counted(modules, self)
            replay.run(str(vectors))
        assert replay.differences == 0
        self.calls = list(self._calls)

    def taken(self, lemma: str, before: int) -> None:
        """Note that one more vector is done, and its lemma if no call came of it."""
        self.vectors += 1
        if self._made == before:
            self.silent.add(lemma)

    def fewer(self, in_a_row: int, one_in: int) -> list[Call]:
        """Return all calls, but of a lemma that calls in loops beyond `in_a_row` only one in `one_in`.

        Such lemmas go through all values of some settings: one path, and thousands of calls much alike.
        """
        found, counted = [], dict.fromkeys(self._calls.values(), 0)
        for call, vector in self._calls.items():
            counted[vector] += 1
            if counted[vector] <= in_a_row or counted[vector] % one_in == 0:
                found.append(call)
        return found

    @property
    def made(self) -> int:
        """How many calls there were so far."""
        return self._made

    @contextmanager
    def _watched(self, functions: list[Function], modules: list[Any]) -> Iterator[None]:
        """Write down, while this lasts, the calls that lemmas make of functions."""
        before: list[tuple[Any, str, Any]] = []
        for function in functions:
            home: Any = importlib.import_module(function.module.name)
            holders = modules if function.owner is None else [getattr(home, function.owner.name)]
            real = getattr(home if function.owner is None else holders[0], function.name)
            before += [(one, function.name, real) for one in holders if vars(one).get(function.name) is real]
        by_name = {(one.name, one.owner and one.owner.name): one for one in functions}
        for holder, name, real in before:
            owner = holder.__name__ if isinstance(holder, type) else None
            setattr(holder, name, self._watching(by_name[name, owner], real))
        try:
            yield
        finally:
            for holder, name, real in before:
                setattr(holder, name, real)

    def _watching(self, function: Function, real: Callable[..., Any]) -> Callable[..., Any]:
        @wraps(real)
        def watching(*given: Any, **named: Any) -> Any:
            if self._busy:
                return real(*given, **named)
            self._busy = True
            try:
                return self._call(function, real, given, named)
            finally:
                self._busy = False

        return watching

    def _call(
        self, function: Function, real: Callable[..., Any], given: tuple[Any, ...], named: dict[str, Any]
    ) -> Any:
        me = given[0] if function.owner is not None else None
        names = list(function.parameters)
        arguments = dict(zip(names, given[function.owner is not None :], strict=False)) | named
        arguments = {name: arguments[name] for name in names}
        kinds = function.parameters
        twins = _Found(self.places)
        mine = None if me is None else twins.take(me, follow=not function.is_constructor)
        objects = [(name, arguments[name]) for name in names if kinds[name].kind == "object"]
        paths = tuple((name, twins.take(one)) for name, one in objects)
        numbers = tuple(int(arguments[name]) for name in names if kinds[name].kind != "object")
        before = self.places.state(twins.others(me) if function.is_constructor else twins.all)
        result = real(*given, **named)
        if me is not None:
            twins.take(me)
        after = self.places.changed(before, self.places.state(twins.all))
        entry = Entry(function.label, mine, paths)
        number = self._numbers.setdefault(entry, len(self.entries))
        if number == len(self.entries):
            self.entries.append(entry)
        valued = function.returns.kind in ("int", "bool")
        call = Call(number, numbers, self.places.changed({}, before), after, int(result) if valued else 0)
        self._calls.setdefault(call, self.vectors)
        self._made += 1
        return result


class _Found:
    """Which of the controller's objects those of a lemma stand for. Read: `all`."""

    def __init__(self, places: Places) -> None:
        self._places = places
        self.all: Twins = {}
        self._used: dict[int, int] = {}

    def take(self, one: Any, follow: bool = True) -> str:
        """Find what an object of a lemma stands for, and return its path; with `follow` its parts too."""
        if id(one) in self.all:
            twin = self.all[id(one)][1]
        else:
            twin = next(twin for twin in self._places.of_class(type(one)) if id(twin) not in self._used)
        self._join(one, twin, follow)
        return self._places.paths[id(twin)]

    def _join(self, one: Any, twin: Any, follow: bool) -> None:
        assert type(one) is type(twin)
        assert self.all.setdefault(id(one), (one, twin))[1] is twin, "one object stands for two"
        assert self._used.setdefault(id(twin), id(one)) == id(one), "two objects stand for one"
        for name, part in self._places.parts(twin) if follow else ():
            if id(getattr(one, name)) not in self.all or self.all[id(getattr(one, name))][1] is not part:
                self._join(getattr(one, name), part, follow)

    def others(self, me: Any) -> Twins:
        """Return all but the object whose method is called."""
        return {key: pair for key, pair in self.all.items() if key != id(me)}


class _Counted(VectorReplay):
    """Replays vectors and tells after each of them."""

    def __init__(self, modules: list[Any], calls: PathCalls) -> None:
        super().__init__(modules)
        self._told = calls

    def _replay(self, line: str) -> None:
        before = self._told.made
        super()._replay(line)
        self._told.taken(line.partition("|")[0], before)
