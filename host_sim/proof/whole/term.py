"""Terms: operations on terms and numbers; equal ones are one object. How they are made and gone through.

Each integer has a range in which it lies wherever the truths in `given` hold: what an `if` says about a
variable narrows it inside that `if` only.
"""

from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any

INT, TRUTH = "int", "truth"


class Term:
    """One operation. `kind` INT or TRUTH; `low` to `high` of an integer, under all truths of `given`."""

    __slots__ = ("args", "given", "high", "kind", "low", "number", "op")

    def __init__(
        self, kind: str, op: str, args: tuple[Any, ...], low: int, high: int, given: frozenset["Term"]
    ) -> None:
        """Keep the parts; use the functions below to make one."""
        self.kind = kind
        self.op = op
        self.args = args
        self.low = low
        self.high = high
        self.given = given
        self.number = len(_made)

    def __hash__(self) -> int:
        return self.number

    def __eq__(self, other: object) -> bool:
        return self is other

    def __repr__(self) -> str:
        return f"{self.op}#{self.number}"


_made: dict[tuple[Any, ...], Term] = {}
_NOTHING: frozenset[Term] = frozenset()


@contextmanager
def fresh_terms() -> Iterator[None]:
    """Make terms apart from all others: what the solver answers may depend on the numbers that they have."""
    global _made
    kept, _made = _made, {}
    try:
        yield
    finally:
        _made = kept


def make(kind: str, op: str, args: tuple[Any, ...], low: int = 0, high: int = 1, given: Any = None) -> Term:
    """Return a term; of equal parts the same one. `given`: None for what its parts are given."""
    if given is None:
        given = _NOTHING.union(*(arg.given for arg in args if isinstance(arg, Term)))
    key = (kind, op, low, high, given, *((type(arg) is bool, arg) for arg in args))
    found = _made.get(key)
    if found is None:
        found = _made[key] = Term(kind, op, args, low, high, given)
    return found


def integer(name: str, low: int, high: int) -> Any:
    """Return a variable; the same name with the same range is the same variable."""
    return low if low == high else make(INT, "var", (name,), low, high)


def truth(name: str) -> Term:
    """Return a variable that is true or false."""
    return make(TRUTH, "var", (name,))


def low_of(value: Any) -> int:
    """Return the least that an integer can be."""
    return value.low if isinstance(value, Term) else int(value)


def high_of(value: Any) -> int:
    """Return the greatest that an integer can be."""
    return value.high if isinstance(value, Term) else int(value)


def is_truth(value: Any) -> bool:
    """Tell whether a value is a truth, known or not."""
    return isinstance(value, bool) or (isinstance(value, Term) and value.kind == TRUTH)


def is_integer(value: Any) -> bool:
    """Tell whether a value is an integer, known or not."""
    return (isinstance(value, int) and not isinstance(value, bool)) or (
        isinstance(value, Term) and value.kind == INT
    )


def plain(value: Any) -> Any:
    """Return an integer without what an `if` has said about its range."""
    while isinstance(value, Term) and value.op == "narrow":
        value = value.args[0]
    return value


def conjuncts(value: Any) -> set[Any]:
    """Return the truths that all must hold for `value` to hold."""
    if isinstance(value, Term) and value.op == "and":
        return {value}.union(*(conjuncts(arg) for arg in value.args))
    return {value}


def parts(value: Any) -> list[Term]:
    """Return the terms that an operation is made of directly."""
    return [arg for arg in value.args if isinstance(arg, Term)] if isinstance(value, Term) else []


def in_order(roots: list[Any]) -> list[Term]:
    """Return all terms below `roots`, each after its parts."""
    seen: set[int] = set()
    order: list[Term] = []
    stack: list[tuple[Any, bool]] = [(root, False) for root in roots if isinstance(root, Term)]
    while stack:
        term, done = stack.pop()
        if done:
            order.append(term)
        elif term.number not in seen:
            seen.add(term.number)
            stack.append((term, True))
            stack.extend((part, False) for part in parts(term) if part.number not in seen)
    return order
