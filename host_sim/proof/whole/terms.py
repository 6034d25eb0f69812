"""Formulas of integers and truths: what a variable of the firmware is worth after all ways were merged.

A `Term` is an operation on terms and numbers; equal ones are one object. Each integer has a range in which it
lies wherever the truths in `given` hold: what an `if` says about a variable narrows it inside that `if` only.
"""

from typing import Any

INT, TRUTH = "int", "truth"
BITS_MAX = 24


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


def _make(kind: str, op: str, args: tuple[Any, ...], low: int = 0, high: int = 1, given: Any = None) -> Term:
    if given is None:
        given = _NOTHING.union(*(arg.given for arg in args if isinstance(arg, Term)))
    key = (kind, op, low, high, given, *((type(arg) is bool, arg) for arg in args))
    found = _made.get(key)
    if found is None:
        found = _made[key] = Term(kind, op, args, low, high, given)
    return found


def integer(name: str, low: int, high: int) -> Any:
    """Return a variable; the same name with the same range is the same variable."""
    return low if low == high else _make(INT, "var", (name,), low, high)


def truth(name: str) -> Term:
    """Return a variable that is true or false."""
    return _make(TRUTH, "var", (name,))


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


def add(one: Any, other: Any) -> Any:
    """Return the sum."""
    if not isinstance(one, Term) and not isinstance(other, Term):
        return one + other
    if not isinstance(one, Term):
        one, other = other, one
    if not isinstance(other, Term) and other == 0:
        return one
    return _make(INT, "add", (one, other), low_of(one) + low_of(other), high_of(one) + high_of(other))


def subtract(one: Any, other: Any) -> Any:
    """Return the difference."""
    if not isinstance(one, Term) and not isinstance(other, Term):
        return one - other
    if one is other:
        return 0
    if not isinstance(other, Term) and other == 0:
        return one
    return _make(INT, "sub", (one, other), low_of(one) - high_of(other), high_of(one) - low_of(other))


def multiply(one: Any, other: Any) -> Any:
    """Return the product."""
    if not isinstance(one, Term) and not isinstance(other, Term):
        return one * other
    if not isinstance(one, Term):
        one, other = other, one
    if not isinstance(other, Term):
        if other == 0:
            return 0
        if other == 1:
            return one
    ends = [a * b for a in (low_of(one), high_of(one)) for b in (low_of(other), high_of(other))]
    return _make(INT, "mul", (one, other), min(ends), max(ends))


def spread(value: Any, factor: Any) -> Any:
    """Return the product of an integer and a factor, of a chosen value as the choice of two products."""
    if isinstance(value, Term) and value.op == "choose":
        condition, one, other = value.args
        return choose(condition, spread(one, factor), spread(other, factor))
    return multiply(value, factor)


def divide(above: Any, below: Any) -> Any:
    """Return the floor of the quotient; what is below is taken for positive, which must be shown apart."""
    if not isinstance(above, Term) and not isinstance(below, Term):
        return above // below if below > 0 else 0
    if not isinstance(below, Term) and below == 1:
        return above
    least, most = max(low_of(below), 1), max(high_of(below), 1)
    ends = [a // b for a in (low_of(above), high_of(above)) for b in (least, most)]
    if min(ends) == max(ends):
        return ends[0]
    return _make(INT, "div", (above, below), min(ends), max(ends))


def modulo(value: Any, number: int) -> Any:
    """Return the rest of a division by a positive number, from 0 on."""
    if not isinstance(value, Term):
        return value % number
    if value.low >= 0 and value.high < number:
        return value
    return _make(INT, "mod", (value, number), 0, number - 1)


def bits(truths: tuple[Any, ...]) -> Any:
    """Return the integer with these bits, the lowest first."""
    while truths and truths[-1] is False:
        truths = truths[:-1]
    low = sum(1 << place for place, one in enumerate(truths) if one is True)
    high = sum(1 << place for place, one in enumerate(truths) if one is not False)
    return low if low == high else _make(INT, "bits", truths, low, high)


def bits_of(value: Any) -> tuple[Any, ...] | None:
    """Return the bits of an integer, the lowest first; None if they can't be told."""
    if not isinstance(value, Term):
        if value < 0 or value >= 1 << BITS_MAX:
            return None
        return tuple(bool(value >> place & 1) for place in range(int(value).bit_length()))
    if value.op == "bits":
        return value.args
    if value.op == "choose":
        one, other = bits_of(value.args[1]), bits_of(value.args[2])
        if one is not None and other is not None:
            return _chosen_bits(value.args[0], one, other)
    if value.low < 0 or value.high >= 16:
        return None
    width = value.high.bit_length()
    return tuple(equal(modulo(divide(value, 1 << place), 2), 1) for place in range(width))


def _chosen_bits(condition: Any, one: tuple[Any, ...], other: tuple[Any, ...]) -> tuple[Any, ...]:
    width = max(len(one), len(other))
    one += (False,) * (width - len(one))
    other += (False,) * (width - len(other))
    return tuple(choose(condition, a, b) for a, b in zip(one, other, strict=True))


def bitwise(op: str, one: Any, other: Any) -> Any:
    """Return one & other, one | other or one ^ other by their bits; TypeError if those can't be told."""
    mine, theirs = bits_of(one), bits_of(other)
    if mine is None or theirs is None:
        raise TypeError(f"the bits of {one!r} {op} {other!r} can't be told")
    width = max(len(mine), len(theirs))
    mine += (False,) * (width - len(mine))
    theirs += (False,) * (width - len(theirs))
    joined = {"&": both, "|": either, "^": differ}[op]
    return bits(tuple(joined(a, b) for a, b in zip(mine, theirs, strict=True)))


def less(one: Any, other: Any) -> Any:
    """Tell whether one < other."""
    if high_of(one) < low_of(other):
        return True
    if low_of(one) >= high_of(other) or one is other:
        return False
    return _make(TRUTH, "lt", (one, other))


def at_most(one: Any, other: Any) -> Any:
    """Tell whether one <= other."""
    return negate(less(other, one))


def more(one: Any, other: Any) -> Any:
    """Tell whether one > other."""
    return less(other, one)


def at_least(one: Any, other: Any) -> Any:
    """Tell whether one >= other."""
    return negate(less(one, other))


def unequal(one: Any, other: Any) -> Any:
    """Tell whether two integers differ."""
    return negate(equal(one, other))


def equal(one: Any, other: Any) -> Any:
    """Tell whether two integers are equal."""
    if one is other:
        return True
    if high_of(one) < low_of(other) or high_of(other) < low_of(one):
        return False
    if not isinstance(one, Term):
        one, other = other, one
    if not isinstance(one, Term):
        return bool(one == other)
    if one.op == "bits":
        theirs = bits_of(other)
        if theirs is not None and (not isinstance(other, Term) or other.op == "bits"):
            width = max(len(one.args), len(theirs))
            mine = one.args + (False,) * (width - len(one.args))
            theirs = theirs + (False,) * (width - len(theirs))
            return every(*(same(a, b) for a, b in zip(mine, theirs, strict=True)))
    return _make(TRUTH, "eq", (one, other))


def negate(value: Any) -> Any:
    """Return the opposite truth."""
    if isinstance(value, bool):
        return not value
    return value.args[0] if value.op == "not" else _make(TRUTH, "not", (value,))


def both(one: Any, other: Any) -> Any:
    """Tell whether both hold."""
    if one is False or other is False:
        return False
    if one is True or one is other:
        return other
    if other is True:
        return one
    if negate(one) is other:
        return False
    return _make(TRUTH, "and", (one, other))


def either(one: Any, other: Any) -> Any:
    """Tell whether at least one holds."""
    return negate(both(negate(one), negate(other)))


def every(*values: Any) -> Any:
    """Tell whether all hold."""
    result: Any = True
    for value in values:
        result = both(result, value)
    return result


def some(*values: Any) -> Any:
    """Tell whether at least one holds."""
    return negate(every(*(negate(value) for value in values)))


def implies(condition: Any, value: Any) -> Any:
    """Tell whether `value` holds where `condition` does."""
    return negate(both(condition, negate(value)))


def same(one: Any, other: Any) -> Any:
    """Tell whether two truths are the same."""
    if one is other:
        return True
    if isinstance(one, bool):
        one, other = other, one
    if isinstance(other, bool):
        return one if other else negate(one)
    if negate(one) is other:
        return False
    return _make(TRUTH, "iff", (one, other))


def differ(one: Any, other: Any) -> Any:
    """Tell whether two truths are not the same."""
    return negate(same(one, other))


def choose(condition: Any, one: Any, other: Any) -> Any:
    """Return `one` where the condition holds, else `other`; two integers or two truths."""
    if isinstance(condition, bool):
        return one if condition else other
    if one is other or (type(one) is type(other) and not isinstance(one, Term) and one == other):
        return one
    if condition.op == "not":
        return choose(condition.args[0], other, one)
    given = condition.given
    if isinstance(one, Term):
        given = given | (one.given - {condition})
    if isinstance(other, Term):
        given = given | (other.given - {negate(condition)})
    if is_truth(one) and is_truth(other):
        if isinstance(one, bool):
            return either(condition, other) if one else both(negate(condition), other)
        if isinstance(other, bool):
            return either(negate(condition), one) if other else both(condition, one)
        return _make(TRUTH, "choose", (condition, one, other), 0, 1, given)
    if plain(one) is plain(other):
        return plain(one)
    if any(isinstance(value, Term) and value.op == "bits" for value in (one, other)):
        mine, theirs = bits_of(one), bits_of(other)
        if mine is not None and theirs is not None:
            return bits(_chosen_bits(condition, mine, theirs))
    low, high = min(low_of(one), low_of(other)), max(high_of(one), high_of(other))
    return _make(INT, "choose", (condition, one, other), low, high, given)


def plain(value: Any) -> Any:
    """Return an integer without what an `if` has said about its range."""
    while isinstance(value, Term) and value.op == "narrow":
        value = value.args[0]
    return value


def narrow(value: Any, low: int, high: int, condition: Any, other: Any) -> Any:
    """Return the integer with a smaller range, which it has where `condition` holds, because of `other`."""
    if not isinstance(value, Term) or (low <= value.low and high >= value.high):
        return value
    low, high = max(low, value.low), min(high, value.high)
    if low > high:
        return value
    given = value.given | {condition} | condition.given
    if isinstance(other, Term):
        given |= other.given
    return _make(INT, "narrow", (value, condition), low, high, given)


def minimum(*values: Any) -> Any:
    """Return the least."""
    result = values[0]
    for value in values[1:]:
        result = _bounded(less(value, result), value, result, min)
    return result


def maximum(*values: Any) -> Any:
    """Return the greatest."""
    result = values[0]
    for value in values[1:]:
        result = _bounded(less(result, value), value, result, max)
    return result


def _bounded(condition: Any, one: Any, other: Any, which: Any) -> Any:
    """Return the chosen one of two, with the range that the least or greatest of them has."""
    if isinstance(condition, bool) or plain(one) is plain(other):
        return choose(condition, one, other)
    low, high = which(low_of(one), low_of(other)), which(high_of(one), high_of(other))
    if low == high:
        return low
    return _make(INT, "choose", (condition, one, other), low, high)


def absolute(value: Any) -> Any:
    """Return the integer without its sign."""
    if not isinstance(value, Term):
        return abs(value)
    if value.low >= 0:
        return value
    low = 0 if value.high >= 0 else -value.high
    high = max(-value.low, value.high)
    return _make(INT, "choose", (less(value, 0), subtract(0, value), value), low, high)


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
