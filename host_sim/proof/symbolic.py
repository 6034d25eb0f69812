"""Integers and booleans that stand for all their values, with the operators that the firmware uses.

A `SymInt` holds a z3 integer term and the range that it is known to lie in. If the range shows that
an operation stays within the 31 bits of a small int, nothing more is needed; else the solver decides.
Evaluating a `SymBool` as a condition makes the explorer choose: that is where paths fork.

Integers are z3's unbounded ones, so a term means the same on every runtime as long as no operation
overflows a small int, which is checked for each.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import z3

if TYPE_CHECKING:
    from host_sim.proof.explorer import Explorer

SMALL_MIN = -(2**30)
SMALL_MAX = 2**30 - 1


class SymBool:
    """A boolean that is not known yet. Evaluating it forks."""

    __slots__ = ("explorer", "term")

    def __init__(self, explorer: Explorer, term: z3.BoolRef) -> None:
        """Wrap a z3 boolean."""
        self.explorer = explorer
        self.term = term

    def __bool__(self) -> bool:
        return self.explorer.decide(self.term)

    def __eq__(self, other: object) -> bool:
        # Booleans are compared where one selects between two branches, so decide.
        return bool(self) == bool(other)

    def __hash__(self) -> int:
        raise TypeError("a symbol has no hash: nothing in a step may look it up")


class SymInt:
    """An integer between `low` and `high` that is not known yet."""

    __slots__ = ("explorer", "high", "low", "term")

    def __init__(self, explorer: Explorer, term: z3.ArithRef, low: int, high: int) -> None:
        """Wrap a z3 integer; it must lie within `low` to `high` on every remaining path."""
        self.explorer = explorer
        self.term = term
        self.low = low
        self.high = high

    def _make(self, term: z3.ArithRef, low: int, high: int, what: str) -> SymInt:
        if low < SMALL_MIN or high > SMALL_MAX:
            self.explorer.check_small(term, what)
        return SymInt(self.explorer, term, max(low, SMALL_MIN), min(high, SMALL_MAX))

    def __add__(self, other: Any) -> SymInt:
        low, high = bounds(other)
        return self._make(self.term + term_of(other), self.low + low, self.high + high, "+")

    __radd__ = __add__

    def __sub__(self, other: Any) -> SymInt:
        low, high = bounds(other)
        return self._make(self.term - term_of(other), self.low - high, self.high - low, "-")

    def __rsub__(self, other: Any) -> SymInt:
        low, high = bounds(other)
        return self._make(term_of(other) - self.term, low - self.high, high - self.low, "-")

    def __neg__(self) -> SymInt:
        return self._make(-self.term, -self.high, -self.low, "-")

    def __mul__(self, other: Any) -> SymInt:
        low, high = bounds(other)
        ends = (self.low * low, self.low * high, self.high * low, self.high * high)
        return self._make(self.term * term_of(other), min(ends), max(ends), "*")

    __rmul__ = __mul__

    def __floordiv__(self, other: Any) -> SymInt:
        return _divide(self, other, self.explorer)

    def __rfloordiv__(self, other: Any) -> SymInt:
        return _divide(other, self, self.explorer)

    def __mod__(self, other: Any) -> SymInt:
        if not isinstance(other, int) or other <= 0:
            raise TypeError("only a positive number may divide a symbol with %")
        return self._make(self.term % other, 0, other - 1, "%")

    def __and__(self, other: Any) -> SymInt:
        mask = int(other)
        if mask < 0 or mask & (mask + 1):
            return self._bits("and", other)
        if self.low >= 0 and self.high <= mask:
            return self
        return self._make(self.term % (mask + 1), 0, mask, "&")

    __rand__ = __and__

    def __xor__(self, other: Any) -> SymInt:
        return self._bits("xor", other)

    __rxor__ = __xor__

    def __or__(self, other: Any) -> SymInt:
        return self._bits("or", other)

    __ror__ = __or__

    def _bits(self, name: str, other: Any) -> SymInt:
        """The channels' levels are the only bit patterns in the firmware: two bits, all cases listed."""
        low, high = bounds(other)
        if self.low < 0 or self.high > 3 or low < 0 or high > 3:
            raise TypeError(
                f"{name} is for levels from 0 to 3, got {self.low} to {self.high} and {low} to {high}"
            )
        table = {"xor": int.__xor__, "and": int.__and__, "or": int.__or__}[name]
        result: z3.ArithRef = z3.IntVal(0)
        mine, theirs = self.term, term_of(other)
        for one in range(4):
            for two in range(4):
                result = z3.If(z3.And(mine == one, theirs == two), z3.IntVal(table(one, two)), result)
        return SymInt(self.explorer, result, 0, 3)

    def __lshift__(self, other: int) -> SymInt:
        return self * (1 << other)

    def __rshift__(self, other: int) -> SymInt:
        return self // (1 << other)

    def __abs__(self) -> SymInt:
        return -self if self < 0 else self

    def __lt__(self, other: Any) -> Any:
        low, high = bounds(other)
        if self.high < low or self.low >= high:
            return self.high < low
        return SymBool(self.explorer, self.term < term_of(other))

    def __le__(self, other: Any) -> Any:
        low, high = bounds(other)
        if self.high <= low or self.low > high:
            return self.high <= low
        return SymBool(self.explorer, self.term <= term_of(other))

    def __gt__(self, other: Any) -> Any:
        low, high = bounds(other)
        if self.low > high or self.high <= low:
            return self.low > high
        return SymBool(self.explorer, self.term > term_of(other))

    def __ge__(self, other: Any) -> Any:
        low, high = bounds(other)
        if self.low >= high or self.high < low:
            return self.low >= high
        return SymBool(self.explorer, self.term >= term_of(other))

    def __eq__(self, other: object) -> Any:
        if not isinstance(other, (int, SymInt)):
            return NotImplemented
        low, high = bounds(other)
        if self.high < low or self.low > high:
            return False
        return SymBool(self.explorer, self.term == term_of(other))

    def __ne__(self, other: object) -> Any:
        if not isinstance(other, (int, SymInt)):
            return NotImplemented
        low, high = bounds(other)
        if self.high < low or self.low > high:
            return True
        return SymBool(self.explorer, self.term != term_of(other))

    def __hash__(self) -> int:
        raise TypeError("a symbol has no hash: nothing in a step may look it up")

    def __bool__(self) -> bool:
        return bool(self != 0)

    def __index__(self) -> int:
        """Used as an index it must be one number: fork over all its values."""
        return self.explorer.choose(self.term, self.low, self.high)

    def __repr__(self) -> str:
        return f"SymInt({self.low}..{self.high})"


class WideInt(SymInt):
    """A symbol for computing in a proof: unlike a firmware value it may exceed a small int."""

    __slots__ = ()

    def _make(self, term: z3.ArithRef, low: int, high: int, what: str) -> SymInt:
        return WideInt(self.explorer, term, low, high)


def _divide(above: Any, below: Any, explorer: Explorer) -> SymInt:
    """Floor division by a positive number: the only kind in the firmware."""
    low, high = bounds(below)
    if low <= 0:
        explorer.check(term_of(below) > 0, "a divisor is positive")
        low = 1
    above_low, above_high = bounds(above)
    ends = (above_low // low, above_low // high, above_high // low, above_high // high)
    quotient = term_of(above) / term_of(below)
    return SymInt(explorer, quotient, min(ends), max(ends))


def bounds(value: Any) -> tuple[int, int]:
    """Return the range of a symbol or a number; TypeError for anything else."""
    if isinstance(value, SymInt):
        return value.low, value.high
    if isinstance(value, int):
        return int(value), int(value)
    raise TypeError(f"the firmware computes with integers only, got {value!r}")


def term_of(value: Any) -> z3.ArithRef:
    """Return the z3 term of a symbol or a number."""
    return value.term if isinstance(value, SymInt) else z3.IntVal(int(value))


def truth_of(value: Any) -> z3.BoolRef:
    """Return the z3 term of a boolean, symbolic or known."""
    return value.term if isinstance(value, SymBool) else z3.BoolVal(bool(value))
