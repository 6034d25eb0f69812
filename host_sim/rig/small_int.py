"""An integer that raises an error where a 32-bit MicroPython would allocate memory.

There an integer outside -2**30 to 2**30 - 1 is a heap object (MicroPython manual, "Writing
interrupt handlers", small integers), even if it is only an intermediate result. Pass a whole ride to
the firmware as SmallInt, and every sum, product and shift in it is checked.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

LOWEST = -(2**30)
HIGHEST = 2**30 - 1


class SmallInt(int):
    """An int whose arithmetic raises OverflowError outside 31 bits, and TypeError for non-integers."""

    __slots__ = ()

    def __new__(cls, value: int) -> SmallInt:
        """Take an int, or raise OverflowError if it does not fit a small integer."""
        return super().__new__(cls, checked(int(value)))

    def __pos__(self) -> SmallInt:
        return SmallInt(int(self))

    def __neg__(self) -> SmallInt:
        return SmallInt(-int(self))

    def __abs__(self) -> SmallInt:
        return SmallInt(abs(int(self)))

    def __invert__(self) -> SmallInt:
        return SmallInt(~int(self))


def checked(value: int) -> int:
    """Return `value`, or raise OverflowError if it leaves 31 bits."""
    if not LOWEST <= value <= HIGHEST:
        raise OverflowError(f"{value} is not a small integer of a 32-bit MicroPython")
    return value


def _in_31_bits(name: str) -> Callable[[SmallInt, Any], Any]:
    plain = getattr(int, name)

    def operate(self: SmallInt, other: Any) -> Any:
        if not isinstance(other, int):
            return NotImplemented
        checked(int(other))
        return SmallInt(plain(int(self), int(other)))

    operate.__name__ = name
    return operate


def _refused(name: str) -> Callable[..., Any]:
    def operate(self: SmallInt, *others: Any) -> Any:
        raise TypeError(f"{name} has no place in the firmware: it takes memory or makes a float")

    operate.__name__ = name
    return operate


for _stem in ("add", "sub", "mul", "floordiv", "mod", "lshift", "rshift", "and", "or", "xor"):
    for _name in (f"__{_stem}__", f"__r{_stem}__"):
        setattr(SmallInt, _name, _in_31_bits(_name))
for _stem in ("truediv", "divmod", "pow"):
    for _name in (f"__{_stem}__", f"__r{_stem}__"):
        setattr(SmallInt, _name, _refused(_name))
for _name in ("__float__", "__round__"):
    setattr(SmallInt, _name, _refused(_name))
