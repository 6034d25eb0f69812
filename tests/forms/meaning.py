"""What a function does, as nested tuples that C and Python are both brought to.

Two texts with equal tuples do the same, as far as each is read rightly and every number fits 32 bits, which
the proofs of the firmware show. An expression is one of

    ("number", value)  ("name", it)  ("field", object, name)  ("element", list, index)  ("table", values)
    (sign, left, right)  ("minus", it)  ("not", it)  ("and" or "or", one, other, ...)
    ("choice", condition, one, other)  ("call", function, argument, ...)

and a statement one of

    ("set", place, value)  ("do", call)  ("return", value or None)  ("if", condition, then, otherwise)
    ("while", condition, body)  ("count", name, first, end, body)
"""

from typing import Any

Meaning = tuple[Any, ...]
ZERO: Meaning = ("number", 0)
ONE: Meaning = ("number", 1)
NEGATED = {"<": ">=", "<=": ">", ">": "<=", ">=": "<", "==": "!=", "!=": "=="}


class NotRead(ValueError):
    """Something that these readers don't know, and where it is."""


def truth(it: Meaning) -> Meaning:
    """Return a condition: that a number is not 0 goes without saying."""
    if it[0] == "!=" and it[2] == ZERO:
        return truth(it[1])
    return it


def both(sign: str, parts: list[Meaning]) -> Meaning:
    """Return `and` or `or` of several conditions; of nested ones of the same sign it makes one."""
    flat: list[Meaning] = []
    for part in map(truth, parts):
        flat += part[1:] if part[0] == sign else [part]
    return (sign, *flat)


def denied(it: Meaning) -> Meaning:
    """Return `not it`."""
    return ("not", truth(it))


def minus(it: Meaning) -> Meaning:
    """Return `-it`; of a literal the negative number."""
    return ("number", -it[1]) if it[0] == "number" else ("minus", it)


def applied(sign: str, left: Meaning, right: Meaning) -> Meaning:
    """Return an operation. Division by a power of two is a shift, as both round down; so are products."""
    if sign == "//" and right[0] == "number" and right[1] > 1 and right[1] & (right[1] - 1) == 0:
        return (">>", left, ("number", right[1].bit_length() - 1))
    if sign == "*" and right[0] == "<<" and right[1] == ONE:
        return ("<<", left, right[2])
    return (sign, left, right)


def chosen(condition: Meaning, one: Meaning, other: Meaning) -> Meaning:
    """Return `one if condition else other`."""
    return ("choice", truth(condition), one, other)


def extreme(name: str, parts: list[Meaning]) -> Meaning:
    """Return the call of `min`, `max` or `abs`; of three numbers it is a call within a call."""
    first = ("call", name, *parts[:2])
    return first if len(parts) < 3 else extreme(name, [first, *parts[2:]])
