"""Formulas of integers and truths: what a variable of the firmware is worth after all ways were merged.

What joins the two sorts stands here: bits, equality, choices, least and greatest. The rest comes from
`term.py`, `truths.py` and `arithmetic.py`, and is offered here too.
"""

from typing import Any

from host_sim.proof.whole.arithmetic import (
    add,
    at_least,
    at_most,
    divide,
    less,
    modulo,
    more,
    multiply,
    subtract,
)
from host_sim.proof.whole.term import (
    INT,
    TRUTH,
    Term,
    conjuncts,
    high_of,
    in_order,
    integer,
    is_integer,
    is_truth,
    low_of,
    make,
    parts,
    plain,
    truth,
)
from host_sim.proof.whole.truths import (
    both,
    differ,
    either,
    every,
    implies,
    negate,
    same,
    some,
)

BITS_MAX = 24
__all__ = (
    "Term",
    "absolute",
    "add",
    "at_least",
    "at_most",
    "bits",
    "bits_of",
    "bitwise",
    "both",
    "choose",
    "conjuncts",
    "differ",
    "divide",
    "either",
    "equal",
    "every",
    "high_of",
    "implies",
    "in_order",
    "integer",
    "is_integer",
    "is_truth",
    "less",
    "low_of",
    "maximum",
    "minimum",
    "modulo",
    "more",
    "multiply",
    "narrow",
    "negate",
    "parts",
    "plain",
    "same",
    "some",
    "spread",
    "subtract",
    "truth",
    "unequal",
)


def spread(value: Any, factor: Any) -> Any:
    """Return the product of an integer and a factor, of a chosen value as the choice of two products."""
    if isinstance(value, Term) and value.op == "choose":
        condition, one, other = value.args
        return choose(condition, spread(one, factor), spread(other, factor))
    return multiply(value, factor)


def bits(truths: tuple[Any, ...]) -> Any:
    """Return the integer with these bits, the lowest first."""
    while truths and truths[-1] is False:
        truths = truths[:-1]
    low = sum(1 << place for place, one in enumerate(truths) if one is True)
    high = sum(1 << place for place, one in enumerate(truths) if one is not False)
    return low if low == high else make(INT, "bits", truths, low, high)


def bits_of(value: Any) -> tuple[Any, ...] | None:
    """Return the bits of an integer, the lowest first; None if they are unknown."""
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
    """Return one & other, one | other or one ^ other by their bits; TypeError if those are unknown."""
    mine, theirs = bits_of(one), bits_of(other)
    if mine is None or theirs is None:
        raise TypeError(f"the bits of {one!r} {op} {other!r} are unknown")
    width = max(len(mine), len(theirs))
    mine += (False,) * (width - len(mine))
    theirs += (False,) * (width - len(theirs))
    joined = {"&": both, "|": either, "^": differ}[op]
    return bits(tuple(joined(a, b) for a, b in zip(mine, theirs, strict=True)))


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
    return make(TRUTH, "eq", (one, other))


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
        return make(TRUTH, "choose", (condition, one, other), 0, 1, given)
    if plain(one) is plain(other):
        return plain(one)
    if any(isinstance(value, Term) and value.op == "bits" for value in (one, other)):
        mine, theirs = bits_of(one), bits_of(other)
        if mine is not None and theirs is not None:
            return bits(_chosen_bits(condition, mine, theirs))
    low, high = min(low_of(one), low_of(other)), max(high_of(one), high_of(other))
    return make(INT, "choose", (condition, one, other), low, high, given)


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
    return make(INT, "narrow", (value, condition), low, high, given)


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
    return make(INT, "choose", (condition, one, other), low, high)


def absolute(value: Any) -> Any:
    """Return the integer without its sign."""
    if not isinstance(value, Term):
        return abs(value)
    if value.low >= 0:
        return value
    low = 0 if value.high >= 0 else -value.high
    high = max(-value.low, value.high)
    return make(INT, "choose", (less(value, 0), subtract(0, value), value), low, high)
