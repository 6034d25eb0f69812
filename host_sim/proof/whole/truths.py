"""Truths of terms: not, and, or, and whether two are the same."""

from typing import Any

from host_sim.proof.whole.term import TRUTH, make


def negate(value: Any) -> Any:
    """Return the opposite truth."""
    if isinstance(value, bool):
        return not value
    return value.args[0] if value.op == "not" else make(TRUTH, "not", (value,))


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
    return make(TRUTH, "and", (one, other))


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
    return make(TRUTH, "iff", (one, other))


def differ(one: Any, other: Any) -> Any:
    """Tell whether two truths are not the same."""
    return negate(same(one, other))
