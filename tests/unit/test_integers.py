"""Clamp, scale, the two straight lines and the square root, at their corners and one beside."""

from math import isqrt

import pytest
from hypothesis import given
from hypothesis import strategies as st

from firmware.integers import clamp, fading_permille, rising_permille, square_root
from host_sim.rig.small_int import SmallInt


@pytest.mark.parametrize(("value", "result"), [(-1, 0), (0, 0), (1, 1), (9, 9), (10, 10), (11, 10)])
def test_a_clamped_value_stays_within_its_ends(value, result):
    assert clamp(SmallInt(value), 0, 10) == result


@pytest.mark.parametrize(
    ("value", "rising"),
    [(-5, 0), (1_000, 0), (1_001, 0), (1_003, 1), (2_250, 500), (3_499, 999), (3_500, 1_000), (9_999, 1_000)],
)
def test_a_rising_line_from_1000_to_3500(value, rising):
    assert rising_permille(SmallInt(value), 1_000, 3_500) == rising


@pytest.mark.parametrize(
    ("value", "fading"),
    [(0, 1_000), (6_111, 1_000), (6_112, 998), (6_528, 499), (6_943, 1), (6_944, 0), (6_945, 0), (9_999, 0)],
)
def test_a_fading_line_from_22_to_25_km_per_h(value, fading):
    # 22 km/h is 6111 mm/s and 25 km/h 6944 mm/s; half way at 6528: 416 / 833 = 0.4994.
    assert fading_permille(SmallInt(value), 6_111, 6_944) == fading


@given(start=st.integers(-500, 100_000), length=st.integers(1, 1_000_000), value=st.integers(-(2**29), 2**29))
def test_both_lines_stay_between_0_and_1000_and_never_overlap(start, length, value):
    rising = rising_permille(SmallInt(value), SmallInt(start), SmallInt(start + length))
    fading = fading_permille(SmallInt(value), SmallInt(start), SmallInt(start + length))
    assert 0 <= rising <= 1_000
    assert 999 <= rising + fading <= 1_000


def test_where_a_fade_has_no_room_its_end_counts():
    assert [fading_permille(SmallInt(value), 5, 5) for value in (4, 5, 6)] == [1_000, 0, 0]


@pytest.mark.parametrize(
    ("value", "root"),
    # 23170^2 is 536_848_900 and 23171^2 is 536_895_241; 2^29 is 536_870_912.
    [(0, 0), (1, 1), (3, 1), (4, 2), (5, 2), (99, 9), (100, 10), (2**29 - 1, 23_170), (2**29, 23_170)],
)
def test_the_whole_part_of_a_square_root(value, root):
    assert square_root(SmallInt(value)) == root


@given(root=st.integers(1, 23_170))
def test_a_square_has_its_root_and_one_less_has_not(root):
    assert square_root(SmallInt(root * root)) == root
    assert square_root(SmallInt(root * root - 1)) == root - 1


@given(value=st.integers(0, 2**29))
def test_the_square_root_is_that_of_the_standard_library(value):
    assert square_root(SmallInt(value)) == isqrt(value)
