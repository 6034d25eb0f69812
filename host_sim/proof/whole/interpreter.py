"""Runs the firmware's own syntax trees on terms, and merges both ways of every `if` into one formula.

Where Python would take one branch, both are taken here, and what they leave in variables and fields is joined
by the condition. Only the syntax that the firmware uses is known; all else is refused with file and line.
On the way it notes what must hold at each place (`obligations`): results fit 31 bits, divisors are positive,
indices lie in their lists, contracts' requirements, no exception.

A time stamp is a kind of value of its own: microseconds after the last step, on a line that does not wrap.
It may be stored, merged and given to `ticks_diff_us`; any other use is refused. So the formulas
hold for every reading of the clock, since only differences of stamps matter (see `clock.py`).
"""

from collections.abc import Callable
from typing import Any

from host_sim.proof.whole import terms
from host_sim.proof.whole.frame import Frame
from host_sim.proof.whole.program import (
    TURNS_MAX,
    UNSET,
    Function,
    Items,
    Kind,
    Module,
    Obligation,
    Record,
    Refused,
    Stamp,
)

Contract = Callable[["Interpreter", Function, list[Any]], Any]


class Interpreter:
    """Runs functions of the firmware. Read: `store` (all fields), `obligations`, `facts` (of contracts).

    `spans`: the ranges in which contracts take fields to be; at each call what leaves them is an obligation.
    """

    def __init__(self, contracts: dict[str, Contract] | None = None) -> None:
        """Start with nothing in the store; `contracts` by the dotted names of functions."""
        self.contracts = contracts or {}
        self.modules: dict[str, Module] = {}
        self.store: dict[tuple[int, Any], Any] = {}
        self.obligations: list[Obligation] = []
        self.facts: list[Any] = []
        self.spans: dict[tuple[int, Any], tuple[int, int]] = {}
        self.path: Any = True
        self.raised: Any = False
        self.branches = 0
        self._count = 0
        self._noted: dict[tuple[Any, Any], set[Any]] = {}
        self._frames: list[Frame] = []

    def module(self, name: str) -> Module:
        """Return a module of the firmware."""
        if not name.startswith("firmware"):
            raise Refused(f"{name} is no part of the firmware")
        if name not in self.modules:
            self.modules[name] = Module(name)
        return self.modules[name]

    def build(self, module: str, kind: str, *arguments: Any) -> Record:
        """Return a new object, made by its own constructor."""
        found = self.module(module).names[kind]
        return self.construct(found, list(arguments))

    def call(self, record: Record, method: str, *arguments: Any) -> Any:
        """Call a method of an object as the firmware would."""
        node = record.kind.methods[method]
        return self.run(Function(node, record.kind.module, record, record.kind), list(arguments))

    def function(self, module: str, name: str) -> Function:
        """Return a function of a module."""
        found = self.module(module).names[name]
        assert isinstance(found, Function)
        return found

    def get(self, record: Record, *names: Any) -> Any:
        """Return a field, or with more names a field of a field; a number picks from a list."""
        value: Any = record
        for name in names:
            value = self.store[value.number, name]
        return value

    def put(self, record: Any, name: Any, value: Any) -> None:
        """Set a field of an object, or an item of a list."""
        self.store[record.number, name] = value

    def items(self, values: list[Any]) -> Items:
        """Return a new list."""
        self._count += 1
        made = Items(len(values), self._count)
        for index, value in enumerate(values):
            self.store[made.number, index] = value
        return made

    def construct(self, kind: Kind, arguments: list[Any]) -> Record:
        """Return a new object of a class."""
        self._count += 1
        record = Record(kind, self._count)
        if "__init__" in kind.methods:
            self.run(Function(kind.methods["__init__"], kind.module, record, kind), arguments)
        return record

    def run(self, function: Function, arguments: list[Any]) -> Any:
        """Run a function on values, or take its contract for it."""
        contract = self.contracts.get(function.title)
        if contract is not None:
            return contract(self, function, arguments)
        return self.run_body(function, arguments)

    def run_body(self, function: Function, arguments: list[Any]) -> Any:
        """Run a function itself, whatever its contract says; what it calls still goes by contracts."""
        signature = function.node.args
        if signature.vararg or signature.kwarg or signature.kwonlyargs or signature.defaults:
            raise Refused(f"{function.module.path}:{function.node.lineno}: parameters of another kind")
        names = [arg.arg for arg in signature.args]
        given = ([function.owner] if function.owner is not None else []) + arguments
        if len(names) != len(given) or len(self._frames) > TURNS_MAX:
            raise Refused(f"{function.title} with {len(given)} arguments at depth {len(self._frames)}")
        frame = Frame(self, function, dict(zip(names, given, strict=True)))
        self._frames.append(frame)
        try:
            frame.block(function.node.body)
        finally:
            self._frames.pop()
        return frame.result

    def must(self, where: str, what: str, claim: Any) -> None:
        """Note what must hold here."""
        if claim is not True:
            self.obligations.append(Obligation(where, what, self.path, claim))

    def must_span(self, where: str) -> None:
        """Note that every field must be in the range that contracts take it to have, once for a value."""
        here = {True} | terms.conjuncts(self.path)
        for key, (low, high) in self.spans.items():
            value = self.store[key]
            if terms.low_of(value) >= low and terms.high_of(value) <= high:
                continue
            noted = self._noted.setdefault((key, value), set())
            if noted & here:
                continue  # Said already on this way, or on one that it is a part of.
            noted.add(self.path)
            within = terms.both(terms.at_least(value, low), terms.at_most(value, high))
            self.must(where, f"needs: {key[1]} is {low} to {high}", within)

    def fact(self, claim: Any) -> None:
        """Note what a contract has shown to hold on this path."""
        self.facts.append(terms.implies(self.path, claim))

    def merged(self, condition: Any, one: Any, other: Any, before: Any) -> Any:
        """Return what a variable is after an `if`: `one` where the condition holds, else `other`."""
        if one is other:
            return one
        if isinstance(one, Stamp) and isinstance(other, Stamp):
            offset = self.merged(condition, one.offset, other.offset, getattr(before, "offset", None))
            return Stamp(offset)
        integers = terms.is_integer(one) and terms.is_integer(other)
        if integers and terms.plain(one) is terms.plain(other):
            return before if terms.plain(before) is terms.plain(one) else terms.plain(one)
        if integers or (terms.is_truth(one) and terms.is_truth(other)):
            return terms.choose(condition, one, other)
        if type(one) is type(other) and isinstance(one, (str, tuple, range)) and one == other:
            return one
        return UNSET

    def merge(
        self, condition: Any, one: dict[Any, Any], other: dict[Any, Any], before: dict[Any, Any]
    ) -> Any:
        """Return a store or a frame's variables after an `if`."""
        if one is other:
            return one
        result = dict(other)
        for key, value in one.items():
            if key not in other:
                result[key] = value if isinstance(key, tuple) else UNSET
            elif value is not other[key]:
                result[key] = self.merged(condition, value, other[key], before.get(key))
        for key in other:
            if key not in one and not isinstance(key, tuple):
                result[key] = UNSET
        return result
