"""What a contract is: what a function needs, what it may change, and what it gives.

At a call the requirement is an obligation, the fields that it may change get any value in their ranges, and
what it gives is a fact. `contract_obligations` in `contract_proofs.py` shows each on the function itself,
and that nothing else changes in any object. A field of an object that the function's own refers to is named
with its way, `_model.learned_permille`.
"""

from collections.abc import Callable
from typing import Any

from host_sim.proof.whole import terms
from host_sim.proof.whole.interpreter import Interpreter
from host_sim.proof.whole.program import Function, Stamp
from host_sim.proof.whole.ranges import STAMP, TRUTH
from host_sim.proof.whole.terms import at_least, at_most, both

Span = tuple[int, int] | str
INPUTS = "inputs"
COMPONENTS = ("crank", "wheel", "supply")
"""Arguments that are objects: `inputs` with any readings, or a component of the controller."""
READING: Span = (0, 100_000)
Claims = list[tuple[str, Any]]
Key = tuple[int, Any]


class Call:
    """One call: arguments and fields before it by `of`, later its `result` and the fields `after` it."""

    def __init__(self, whole: Interpreter, function: Function, arguments: list[Any]) -> None:
        """Name the arguments."""
        self.whole = whole
        self.owner = function.owner
        names = [arg.arg for arg in function.node.args.args]
        given = ([function.owner] if function.owner is not None else []) + arguments
        self.arguments = dict(zip(names, given, strict=True))
        self.store = dict(whole.store)
        self.later = self.store
        self.result: Any = None

    def of(self, name: str) -> Any:
        """Return an argument, or a field of the object before the call."""
        value = self.arguments[name] if name in self.arguments else self._field(self.store, name)
        return value.offset if isinstance(value, Stamp) else value

    def after(self, name: str) -> Any:
        """Return a field of the object after the call."""
        value = self._field(self.later, name)
        return value.offset if isinstance(value, Stamp) else value

    def key_of(self, path: str) -> Key:
        """Return the key of a field in the store; the object's own, or one that a way leads to.

        A way begins with a field of the object, or with an argument that is an object.
        """
        value: Any = self.owner
        *way, last = path.split(".")
        if way and way[0] in self.arguments:
            value = self.arguments[way.pop(0)]
        for name in way:
            value = self.store[value.number, name]
        return value.number, int(last) if last.isdigit() else last

    def _field(self, store: dict[Key, Any], path: str) -> Any:
        return store[self.key_of(path)]

    def is_kept(self, path: str) -> Any:
        """Tell whether a field, a number or a truth or a stamp, is after the call what it was before."""
        before, after = self._field(self.store, path), self.after(path)
        before = before.offset if isinstance(before, Stamp) else before
        return terms.same(before, after) if terms.is_truth(before) else terms.equal(before, after)


class Contract:
    """`arguments` and `changes` with their ranges, `gives` the range of the result (None: nothing)."""

    def __init__(
        self,
        title: str,
        module: str,
        arguments: dict[str, Span],
        changes: dict[str, Span],
        gives: Span | None,
        needs: Callable[[Call], Claims],
        ensures: Callable[[Call], Claims],
    ) -> None:
        """Keep the parts."""
        self.title = title
        self.module = module
        self.arguments = arguments
        self.changes = changes
        self.gives = gives
        self.needs = needs
        self.ensures = ensures

    def __call__(self, whole: Interpreter, function: Function, arguments: list[Any]) -> Any:
        """Take the place of a call."""
        call = Call(whole, function, arguments)
        for what, claim in self.all_needs(call):
            whole.must(self.title, f"needs: {what}", claim)
        whole.must_span(self.title)
        number = len(whole.facts)
        for name, span in self.changes.items():
            fresh = any_value(f"{self.title}.{number}.{name}", span)
            whole.store[call.key_of(name)] = Stamp(fresh) if span == STAMP else fresh
        call.later = whole.store
        call.result = None if self.gives is None else any_value(f"{self.title}.{number}", self.gives)
        whole.fact(terms.every(*(claim for _, claim in self.ensures(call))))
        return call.result

    def all_needs(self, call: Call) -> Claims:
        """Return what it needs: arguments in their ranges, and the rest."""
        claims = list(self.needs(call))
        for name, span in self.arguments.items():
            if not isinstance(span, str):
                value = call.of(name)
                claims.append(
                    (
                        f"{name} is {span[0]} to {span[1]}",
                        both(at_least(value, span[0]), at_most(value, span[1])),
                    )
                )
        return claims


def any_value(name: str, span: Span) -> Any:
    """Return a new variable."""
    if span == TRUTH:
        return terms.truth(name)
    if isinstance(span, str):
        return terms.integer(name, -(1 << 30) + 1, 1 << 30)
    return terms.integer(name, *span)


def nothing(call: Call) -> Claims:
    """Return no claim."""
    return []
