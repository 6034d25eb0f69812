"""Functions that join others, compared with what they should call: with which numbers, in which order.

A function is run from any state, and from the same state what it should do is done call by call. Both must
leave the same in every field of every object. The functions that are called are the firmware's own: what
they give is said by contracts of their own.
"""

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

from host_sim.proof.whole import terms
from host_sim.proof.whole.contract import INPUTS, Call, any_value
from host_sim.proof.whole.invariants import Clause
from host_sim.proof.whole.program import Function, Record, Stamp
from host_sim.proof.whole.ranges import STAMP
from host_sim.proof.whole.situation import Situation

LONGEST_GAP_US = 532_620_911


class Joined(Call):
    """The call of a function that joins others. `play`, `put` and `read` do in its stead what it should."""

    def __init__(self, situation: Situation, function: Function, arguments: list[Any]) -> None:
        """Keep the state before it."""
        super().__init__(situation.interpreter, function, arguments)
        self.situation = situation

    def play(self, path: str, method: str, *arguments: Any) -> Any:
        """Call a method of the function's object, or of one that a way leads to."""
        return self.whole.call(self._record(path), method, *arguments)

    def read(self, path: str) -> Any:
        """Return an argument or a field as it is now; of a stamp the stamp."""
        return self.arguments[path] if path in self.arguments else self.whole.store[self.key_of(path)]

    def now(self, path: str) -> Any:
        """Return a field as it is now; of a stamp the offset."""
        value = self.read(path)
        return value.offset if isinstance(value, Stamp) else value

    def put(self, **values: Any) -> None:
        """Set fields of the function's object."""
        for name, value in values.items():
            self.whole.store[self.key_of(name)] = value

    def _record(self, path: str) -> Record:
        found = self.owner if path == "" else self.read(path)
        assert isinstance(found, Record)
        return found


@dataclass(frozen=True, slots=True)
class Case:
    """Where `when` holds before the call (None: always), what should be done: `then`, with its result."""

    name: str
    when: Callable[[Joined], Any] | None
    then: Callable[[Joined], Any]


def always(then: Callable[[Joined], Any]) -> Case:
    """Return the only case of a function."""
    return Case("", None, then)


@dataclass(frozen=True, slots=True)
class Joining:
    """A function by its `title` and `module`, the ranges of its `arguments`, and its `cases`, all there are.

    `crank_edges` and `wheel_edges` wait in the logs of its inputs. `kinds` of sensor: each for itself, or all
    at once.
    """

    title: str
    module: str
    arguments: dict[str, Any]
    cases: tuple[Case, ...]
    crank_edges: int = 0
    wheel_edges: int = 0
    kinds: tuple[int | None, ...] = (None,)


def joined_piece(one: Joining, kind: int | None) -> tuple[list[Any], list[Clause]]:
    """Return facts and claims for a kind of sensor, or for all at once."""
    situation = Situation(kind)
    situation.remember_anything()
    whole = situation.interpreter
    owner = _owner(situation, one.title.split(".")[0])
    module = whole.module(f"firmware.{one.module}")
    function = Function(owner.kind.methods[one.title.split(".")[1]], module, owner, owner.kind)
    call = Joined(
        situation, function, [_argument(situation, one, *argument) for argument in one.arguments.items()]
    )
    start = dict(whole.store)
    result, left = whole.run_body(function, list(call.arguments.values())[1:]), whole.store
    claims: list[Clause] = []
    cases: list[Any] = []
    for case in one.cases:
        whole.store = dict(start)
        when = True if case.when is None else case.when(call)
        cases.append(when)
        wanted = case.then(call)
        known = _Known(when)
        for what, claim in _alike(situation, known, (result, left), (wanted, whole.store)):
            title = f"{one.title} gives" + (f" where {case.name}" if case.name else "")
            claims.append((f"{title}: {what}", terms.implies(when, claim)))
    claims.append((f"{one.title} gives: there is no other case", terms.some(*cases)))
    return [situation.legal], claims


def _argument(situation: Situation, one: Joining, name: str, span: Any) -> Any:
    if span == INPUTS:
        return situation.any_inputs(LONGEST_GAP_US, one.crank_edges, one.wheel_edges)
    if span == STAMP:
        return Stamp(terms.integer(f"argument {name}", -(1 << 29), LONGEST_GAP_US))
    if isinstance(span, str):
        return situation.interpreter.get(situation.controller, span)
    return any_value(f"argument {name}", span)


def _owner(situation: Situation, kind: str) -> Record:
    records = [situation.controller, *situation.interpreter.store.values()]
    return next(one for one in records if isinstance(one, Record) and one.kind.name == kind)


class _Known:
    """Formulas compared where a condition holds: what it decides is left out of them."""

    def __init__(self, when: Any) -> None:
        """Take the condition apart."""
        self.truths = terms.conjuncts(when)
        self.alike: dict[tuple[int, int], bool] = {}

    def plain(self, value: Any) -> Any:
        """Return a formula without the choices that the condition decides."""
        while isinstance(value, terms.Term):
            before = value
            value = terms.plain(value)
            if value in self.truths or (terms.is_truth(value) and terms.negate(value) in self.truths):
                return value in self.truths
            if value.op == "not" and isinstance(inner := self.plain(value.args[0]), bool):
                return not inner
            if value.op == "not" and inner.op == "not":
                value = inner.args[0]
            elif value.op == "choose" and isinstance(held := self.plain(value.args[0]), bool):
                value = value.args[1 if held else 2]
            elif value.op == "and":
                held, other = (self.plain(arg) for arg in value.args)
                value = (
                    terms.both(held, other) if isinstance(held, bool) or isinstance(other, bool) else value
                )
            if value is before:
                return value
        return value

    def is_one(self, one: Any, other: Any) -> bool:
        """Tell whether two formulas are built alike there."""
        one, other = self.plain(one), self.plain(other)
        if one is other:
            return True
        if not isinstance(one, terms.Term) or not isinstance(other, terms.Term):
            return type(one) is type(other) and not isinstance(one, terms.Term) and bool(one == other)
        pair = id(one), id(other)
        if pair not in self.alike:
            self.alike[pair] = (
                one.op == other.op != "var"
                and len(one.args) == len(other.args)
                and all(self.is_one(a, b) for a, b in zip(one.args, other.args, strict=True))
            )
        return self.alike[pair]


def _alike(
    situation: Situation,
    known: _Known,
    found: tuple[Any, dict[Any, Any]],
    wanted: tuple[Any, dict[Any, Any]],
) -> list[Clause]:
    """Return that two results are alike, and every field that is left."""
    claims = [("the result is exact", _same(known, found[0], wanted[0]))]
    for key in found[1].keys() | wanted[1].keys():
        if found[1].get(key) is not wanted[1].get(key):
            name = situation.names.get(key, str(key[1]))
            claims.append((f"{name} is exact", _same(known, found[1].get(key), wanted[1].get(key))))
    return sorted(claims, key=lambda one: one[0])


def _same(known: _Known, one: Any, other: Any) -> Any:
    if isinstance(one, Stamp) and isinstance(other, Stamp):
        one, other = one.offset, other.offset
    if known.is_one(one, other):
        return True
    if terms.is_truth(one) and terms.is_truth(other):
        return terms.same(one, other)
    if terms.is_integer(one) and terms.is_integer(other):
        return terms.equal(one, other)
    return one is other
