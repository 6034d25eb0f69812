"""Integer helpers: if the arguments are in range, every intermediate fits a small int (below 2**30).

A 32-bit MicroPython allocates for any larger result, even an intermediate one, so the callers'
ranges are part of the contract.
"""


def clamp(value: int, lowest: int, highest: int) -> int:
    """Return `value`, moved to the nearest end if it lies outside `lowest` to `highest`."""
    if value < lowest:
        return lowest
    if value > highest:
        return highest
    return value


def rising_permille(value: int, start: int, end: int) -> int:
    """Return 0 up to `start`, 1000 from `end` on, and a straight line between; start < end.

    `end - start` is at most 1_000_000.
    """
    if value <= start:
        return 0
    if value >= end:
        return 1000
    return (value - start) * 1000 // (end - start)


def fading_permille(value: int, start: int, end: int) -> int:
    """Return 1000 up to `start`, 0 from `end` on, and a straight line between, rounded down.

    If start == end, the result is 0 from there on: nothing is allowed.
    """
    if value >= end:
        return 0
    if value <= start:
        return 1000
    return (end - value) * 1000 // (end - start)


def square_root(value: int) -> int:
    """Return the whole part of the square root of `value`, 0 to 2**29."""
    root = 0
    bit = 1 << 14
    while bit > 0:
        if (root + bit) * (root + bit) <= value:
            root += bit
        bit >>= 1
    return root
