"""Minimum, maximum and clamped values of symbols as one term each, where forking would cause too many paths.

`min`, `max`, `abs` and `clamp` compare, and every comparison of symbols forks. The motor model uses so many
of them that its paths multiply. While a lemma that asks for it is explored, the modules in MERGED use the
functions below instead: the result is one term for both outcomes, with a narrower known range.
On plain numbers the lemma runs on the unchanged firmware.
"""

from collections.abc import Iterator
from contextlib import contextmanager
from importlib import import_module
from typing import Any

import z3

from host_sim.proof.symbolic import SymInt, bounds, term_of

MERGED = (
    "firmware.sense.motor_model",
    "firmware.sense.rotation",
    "firmware.sense.shunt_watch",
    "firmware.drive.feed_forward",
    "firmware.drive.power_loop",
    "firmware.drive.slew_limiter",
    "firmware.guard.plausibility",
    "firmware.controller",
)


def least(one: Any, *others: Any) -> Any:
    """Return the minimum of numbers and symbols."""
    for other in others:
        one = _lower(one, other)
    return one


def greatest(one: Any, *others: Any) -> Any:
    """Return the maximum of numbers and symbols."""
    for other in others:
        one = _higher(one, other)
    return one


def clamped(value: Any, lowest: Any, highest: Any) -> Any:
    """Do the same as `firmware.integers.clamp`; the lowest is at most the highest."""
    return _lower(_higher(value, lowest), highest)


def size_of(value: Any) -> Any:
    """Return the absolute value."""
    size = _higher(value, -value)
    if isinstance(size, SymInt):
        size.low = max(size.low, 0)
    return size


def _lower(one: Any, other: Any) -> Any:
    if not isinstance(one, SymInt) and not isinstance(other, SymInt):
        return min(one, other)
    (low, high), (other_low, other_high) = bounds(one), bounds(other)
    if high <= other_low:
        return one
    if other_high <= low:
        return other
    mine, theirs = term_of(one), term_of(other)
    return _symbol(
        one, other, z3.If(mine <= theirs, mine, theirs), min(low, other_low), min(high, other_high)
    )


def _higher(one: Any, other: Any) -> Any:
    if not isinstance(one, SymInt) and not isinstance(other, SymInt):
        return max(one, other)
    (low, high), (other_low, other_high) = bounds(one), bounds(other)
    if low >= other_high:
        return one
    if other_low >= high:
        return other
    mine, theirs = term_of(one), term_of(other)
    return _symbol(
        one, other, z3.If(mine >= theirs, mine, theirs), max(low, other_low), max(high, other_high)
    )


def _symbol(one: Any, other: Any, term: z3.ArithRef, low: int, high: int) -> SymInt:
    explorer = one.explorer if isinstance(one, SymInt) else other.explorer
    return SymInt(explorer, term, low, high)


@contextmanager
def merging() -> Iterator[None]:
    """Let the modules in MERGED choose without forking inside the block."""
    replaced: list[tuple[Any, str, Any]] = []
    try:
        for name in MERGED:
            module = import_module(name)
            for choice, function in (("min", least), ("max", greatest), ("clamp", clamped), ("abs", size_of)):
                if choice == "clamp" and not hasattr(module, choice):
                    continue
                replaced.append((module, choice, vars(module).get(choice)))
                setattr(module, choice, function)
        yield
    finally:
        for module, choice, former in replaced:
            if former is None:
                delattr(module, choice)
            else:
                setattr(module, choice, former)
