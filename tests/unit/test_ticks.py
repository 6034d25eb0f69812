"""Differences of wrapping time.

The three first values are those of MicroPython's own test of ticks_diff (tests/extmod/ticks_diff.py),
whose ticks wrap at the same 2**30.
"""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from firmware.ticks import TICKS_MAX_US, ticks_add_us, ticks_diff_us
from host_sim.rig.small_int import SmallInt

MODULO_HALF_US = 536_870_912


@pytest.mark.parametrize(
    ("later_us", "earlier_us", "difference_us"),
    [
        (0, 1_073_741_823, 1),
        (1_073_741_823, 0, -1),
        (MODULO_HALF_US, 0, -MODULO_HALF_US),
        (MODULO_HALF_US - 1, 0, MODULO_HALF_US - 1),
        (MODULO_HALF_US + 1, 0, -MODULO_HALF_US + 1),
        (0, MODULO_HALF_US, -MODULO_HALF_US),
        (0, MODULO_HALF_US + 1, MODULO_HALF_US - 1),
        (5, 5, 0),
        (4_000, 1_073_740_824, 5_000),
    ],
)
def test_differences_across_the_wrap(later_us, earlier_us, difference_us):
    assert ticks_diff_us(SmallInt(later_us), SmallInt(earlier_us)) == difference_us


def test_the_clock_wraps_every_1074_seconds():
    assert TICKS_MAX_US == 1_073_741_823


@pytest.mark.parametrize(
    ("time_us", "span_us", "sum_us"),
    [
        (0, 0, 0),
        (5, 5_000, 5_005),
        (1_073_740_824, 999, 1_073_741_823),
        (1_073_740_824, 1_000, 0),
        (1_073_741_823, 5_000, 4_999),
        (1_073_741_823, 1_073_741_823, 1_073_741_822),
    ],
)
def test_sums_across_the_wrap(time_us, span_us, sum_us):
    assert ticks_add_us(SmallInt(time_us), SmallInt(span_us)) == sum_us


@given(start_us=st.integers(0, TICKS_MAX_US), span_us=st.integers(-MODULO_HALF_US, MODULO_HALF_US - 1))
def test_the_difference_is_the_time_that_passed(start_us, span_us):
    later_us = (start_us + span_us) % 1_073_741_824
    assert ticks_diff_us(SmallInt(later_us), SmallInt(start_us)) == span_us
