"""Wrapping time in microseconds, the same on every runtime.

Every `now_us` in the firmware is an integer from 0 to TICKS_MAX_US that wraps about
every 17.9 minutes: 2**30 is the range in which a 32-bit MicroPython keeps integers
without allocating (its manual, "Writing interrupt handlers", small integers).
"""

TICKS_MAX_US = (1 << 30) - 1
_HALF_PERIOD_US = 1 << 29

CONTROL_PERIOD_MS = 5
CONTROL_PERIOD_US = 5_000


def ticks_add_us(time_us: int, span_us: int) -> int:
    """Return the time `span_us` (0 to TICKS_MAX_US) after `time_us`, across the wrap."""
    # Computed from the other side: the sum itself may overflow a small int.
    return (time_us - (TICKS_MAX_US - span_us) - 1) & TICKS_MAX_US


def ticks_diff_us(later_us: int, earlier_us: int) -> int:
    """Return `later_us - earlier_us` across the wrap, from -2**29 to 2**29 - 1."""
    difference_us = (later_us - earlier_us) & TICKS_MAX_US
    if difference_us >= _HALF_PERIOD_US:
        # In two halves: the whole period overflows a small int.
        return difference_us - _HALF_PERIOD_US - _HALF_PERIOD_US
    return difference_us
