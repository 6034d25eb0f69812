"""SmallInt fails exactly where a 32-bit MicroPython would take memory: below -2**30 and above 2**30 - 1."""

import operator

import pytest

from host_sim.rig.small_int import SmallInt

HIGHEST = 1_073_741_823
LOWEST = -1_073_741_824


def test_both_ends_are_held_and_one_beyond_is_not():
    assert SmallInt(HIGHEST) == 1_073_741_823
    assert SmallInt(LOWEST) == -1_073_741_824
    for beyond in (HIGHEST + 1, LOWEST - 1):
        with pytest.raises(OverflowError):
            SmallInt(beyond)


@pytest.mark.parametrize(
    ("operate", "left", "right", "result"),
    [
        (operator.add, HIGHEST - 1, 1, HIGHEST),
        (operator.sub, LOWEST + 1, 1, LOWEST),
        (operator.mul, 32_768, 32_767, 1_073_709_056),
        (operator.floordiv, -7, 2, -4),
        (operator.mod, -7, 4, 1),
        (operator.lshift, 1, 29, 536_870_912),
        (operator.rshift, -5, 1, -3),
        (operator.and_, 6, 3, 2),
        (operator.or_, 6, 3, 7),
        (operator.xor, 6, 3, 5),
    ],
)
def test_a_result_inside_stays_a_small_int_on_either_side(operate, left, right, result):
    for value in (
        operate(SmallInt(left), right),
        operate(left, SmallInt(right)),
        operate(SmallInt(left), SmallInt(right)),
    ):
        assert value == result
        assert type(value) is SmallInt


@pytest.mark.parametrize(
    ("operate", "left", "right"),
    [
        (operator.add, HIGHEST, 1),
        (operator.sub, LOWEST, 1),
        (operator.mul, 32_768, 32_768),
        (operator.floordiv, LOWEST, -1),
        (operator.lshift, 1, 30),
    ],
)
def test_a_result_outside_fails_on_either_side(operate, left, right):
    with pytest.raises(OverflowError):
        operate(SmallInt(left), right)
    with pytest.raises(OverflowError):
        operate(left, SmallInt(right))


def test_an_operand_outside_fails_even_if_the_result_is_inside():
    with pytest.raises(OverflowError):
        SmallInt(5) & (HIGHEST + 1)
    with pytest.raises(OverflowError):
        (HIGHEST + 1) - SmallInt(5)


def test_the_lowest_value_has_no_positive_twin():
    for operate in (operator.neg, abs):
        with pytest.raises(OverflowError):
            operate(SmallInt(LOWEST))
    assert type(-SmallInt(5)) is SmallInt
    assert type(abs(SmallInt(-5))) is SmallInt
    assert ~SmallInt(LOWEST) == HIGHEST
    assert type(+SmallInt(5)) is SmallInt


@pytest.mark.parametrize("operate", [operator.truediv, divmod, pow])
def test_what_makes_floats_or_tuples_is_refused(operate):
    with pytest.raises(TypeError):
        operate(SmallInt(6), 3)
    with pytest.raises(TypeError):
        operate(6, SmallInt(3))
    with pytest.raises(TypeError):
        float(SmallInt(6))
