"""Sums, products, quotients and comparisons of terms, each with the range that follows from its parts."""

from typing import Any

from host_sim.proof.whole.term import INT, TRUTH, Term, high_of, low_of, make
from host_sim.proof.whole.truths import negate


def add(one: Any, other: Any) -> Any:
    """Return the sum."""
    if not isinstance(one, Term) and not isinstance(other, Term):
        return one + other
    if not isinstance(one, Term):
        one, other = other, one
    if not isinstance(other, Term) and other == 0:
        return one
    return make(INT, "add", (one, other), low_of(one) + low_of(other), high_of(one) + high_of(other))


def subtract(one: Any, other: Any) -> Any:
    """Return the difference."""
    if not isinstance(one, Term) and not isinstance(other, Term):
        return one - other
    if one is other:
        return 0
    if not isinstance(other, Term) and other == 0:
        return one
    return make(INT, "sub", (one, other), low_of(one) - high_of(other), high_of(one) - low_of(other))


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
    return make(INT, "mul", (one, other), min(ends), max(ends))


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
    return make(INT, "div", (above, below), min(ends), max(ends))


def modulo(value: Any, number: int) -> Any:
    """Return the rest of a division by a positive number, from 0 on."""
    if not isinstance(value, Term):
        return value % number
    if value.low >= 0 and value.high < number:
        return value
    return make(INT, "mod", (value, number), 0, number - 1)


def less(one: Any, other: Any) -> Any:
    """Tell whether one < other."""
    if high_of(one) < low_of(other):
        return True
    if low_of(one) >= high_of(other) or one is other:
        return False
    return make(TRUTH, "lt", (one, other))


def at_most(one: Any, other: Any) -> Any:
    """Tell whether one <= other."""
    return negate(less(other, one))


def more(one: Any, other: Any) -> Any:
    """Tell whether one > other."""
    return less(other, one)


def at_least(one: Any, other: Any) -> Any:
    """Tell whether one >= other."""
    return negate(less(one, other))
