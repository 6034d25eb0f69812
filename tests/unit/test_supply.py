"""Readings are smoothed without losing anything to rounding, and their product stays small."""

import pytest

from firmware.sense.supply import Supply
from host_sim.rig.small_int import SmallInt


def stepped(supply: Supply, steps: int, battery_mv: int, current_ma: int) -> Supply:
    for _ in range(steps):
        supply.step(SmallInt(battery_mv), SmallInt(current_ma))
    return supply


def test_the_first_voltage_counts_at_once_and_the_current_rises():
    supply = stepped(Supply(), 1, 36_000, 8_000)
    assert supply.battery_mv == 36_000
    assert supply.current_ma == 2_000  # A quarter of the way.
    # 36 V times 2 A.
    assert supply.power_w == 72


def test_a_steady_reading_is_reached_exactly():
    supply = stepped(Supply(), 200, 36_360, 7_083)
    assert supply.battery_mv == 36_360
    assert supply.current_ma == 7_083
    # 36.36 V times 7.083 A is 257.5 W.
    assert supply.power_w == 257


def test_current_is_quick_and_voltage_slow():
    supply = stepped(Supply(), 200, 36_000, 0)
    stepped(supply, 1, 32_800, 1_000)
    assert supply.current_ma == 250
    assert supply.battery_mv == 35_900  # A thirty-second part of 3.2 V.
    # 63.2 percent after about four steps and after about 32: first-order low passes.
    stepped(supply, 3, 32_800, 1_000)
    assert 650 <= supply.current_ma <= 720
    stepped(supply, 28, 32_800, 1_000)
    assert 33_900 <= supply.battery_mv <= 34_050


@pytest.mark.parametrize(
    ("battery_mv", "current_ma", "power_w"),
    [
        (-1, 5_000, 0),
        (0, 5_000, 0),
        (36_000, -1, 0),
        (100_001, 100_001, 10_000),
        (1_000_000, 1_000_000, 10_000),
    ],
)
def test_readings_out_of_range_count_as_the_nearest_end(battery_mv, current_ma, power_w):
    assert stepped(Supply(), 300, battery_mv, current_ma).power_w == power_w


def test_readings_below_nothing_are_nothing():
    supply = stepped(Supply(), 100, -5, -5)
    assert (supply.battery_mv, supply.current_ma, supply.power_w) == (0, 0, 0)


def test_before_any_reading_there_is_nothing():
    supply = Supply()
    assert (supply.battery_mv, supply.current_ma, supply.power_w) == (0, 0, 0)
    # Of 3 mA a quarter is less than one; one more in the sum would show.
    assert stepped(supply, 1, 36_000, 3).current_ma == 0
