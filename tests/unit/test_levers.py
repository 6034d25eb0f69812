"""Throttle and selector: shares inside the window, faults outside, and no start with an open throttle."""

import pytest

from firmware.sense.levers import Selector, Throttle
from host_sim.rig.small_int import SmallInt
from host_sim.rig.small_settings import settings_with

# Defaults: open below 400 mV, rest up to 1000, full from 3500, shorted above 4300.


def throttle_at_rest() -> Throttle:
    throttle = Throttle(settings_with())
    throttle.step(SmallInt(700))
    return throttle


@pytest.mark.parametrize(
    ("throttle_mv", "share_permille"),
    [
        (400, 0),
        (1_000, 0),
        (1_002, 0),
        (1_003, 1),
        (2_250, 500),
        (3_499, 999),
        (3_500, 1_000),
        (4_300, 1_000),
    ],
)
def test_the_throttle_opens_in_a_straight_line(throttle_mv, share_permille):
    throttle = throttle_at_rest()
    throttle.step(SmallInt(throttle_mv))
    assert throttle.share_permille == share_permille
    assert not throttle.wire_open
    assert not throttle.wire_shorted


@pytest.mark.parametrize(
    ("throttle_mv", "wire_open", "wire_shorted"),
    [(-1, True, False), (0, True, False), (399, True, False), (4_301, False, True), (5_000, False, True)],
)
def test_outside_the_window_the_share_is_zero_and_the_faults_are_told_apart(
    throttle_mv, wire_open, wire_shorted
):
    throttle = throttle_at_rest()
    throttle.step(SmallInt(2_250))
    throttle.step(SmallInt(throttle_mv))
    assert throttle.share_permille == 0
    assert (throttle.wire_open, throttle.wire_shorted) == (wire_open, wire_shorted)


def test_the_share_comes_back_with_the_voltage():
    throttle = throttle_at_rest()
    throttle.step(SmallInt(0))
    throttle.step(SmallInt(2_250))
    assert throttle.share_permille == 500


def test_a_throttle_open_since_power_up_gives_nothing_until_it_was_at_rest():
    throttle = Throttle(settings_with())
    throttle.step(SmallInt(3_500))
    assert throttle.share_permille == 0
    throttle.step(SmallInt(1_001))
    assert not throttle.rest_seen
    throttle.step(SmallInt(399))  # A broken wire is no rest.
    assert not throttle.rest_seen
    throttle.step(SmallInt(1_000))
    assert throttle.rest_seen
    throttle.step(SmallInt(3_500))
    assert throttle.share_permille == 1_000


def test_an_absent_throttle_reads_nothing_and_is_at_rest():
    throttle = Throttle(settings_with(throttle_fitted=0))
    throttle.step(SmallInt(5_000))
    assert (throttle.share_permille, throttle.wire_shorted, throttle.rest_seen) == (0, False, True)


def test_without_a_selector_the_share_is_whole_whatever_the_wire_says():
    selector = Selector(settings_with())
    assert selector.share_permille == 1_000
    selector.step(SmallInt(0))
    assert (selector.share_permille, selector.wire_open) == (1_000, False)


@pytest.mark.parametrize(
    ("selector_mv", "share_permille"),
    [(200, 0), (500, 0), (504, 1), (1_500, 250), (2_500, 500), (4_496, 999), (4_500, 1_000), (4_800, 1_000)],
)
def test_a_potentiometer_gives_a_share_in_proportion(selector_mv, share_permille):
    selector = Selector(settings_with(selector_positions=1))
    assert selector.share_permille == 0
    selector.step(SmallInt(selector_mv))
    assert selector.share_permille == share_permille


@pytest.mark.parametrize("positions", [1, 3])
@pytest.mark.parametrize(
    ("selector_mv", "wire_open"), [(199, True), (0, True), (4_801, False), (5_000, False)]
)
def test_a_broken_or_shorted_selector_wire_gives_share_zero(positions, selector_mv, wire_open):
    selector = Selector(settings_with(selector_positions=positions))
    selector.step(SmallInt(4_500))
    assert selector.share_permille == 1_000
    selector.step(SmallInt(selector_mv))
    assert selector.share_permille == 0
    assert (selector.wire_open, selector.wire_shorted) == (wire_open, not wire_open)


@pytest.mark.parametrize(("selector_mv", "share_permille"), [(500, 0), (2_500, 500), (4_500, 1_000)])
def test_three_positions_give_about_nothing_a_half_and_the_whole(selector_mv, share_permille):
    # Common practice, no source.
    selector = Selector(settings_with(selector_positions=3))
    selector.step(SmallInt(selector_mv))
    assert selector.share_permille == share_permille


def test_a_position_is_left_only_a_quarter_of_a_step_beyond_the_middle():
    # Three positions at 500, 2500 and 4500 mV: the middle is at 1500, the quarter 500 mV wide.
    selector = Selector(settings_with(selector_positions=3))
    for selector_mv, position in [
        (500, 0),
        (2_000, 0),
        (2_004, 1),
        (1_000, 1),
        (996, 0),
        (4_500, 2),
        (3_000, 2),
    ]:
        selector.step(SmallInt(selector_mv))
        assert selector.position == position, selector_mv
    selector.step(SmallInt(2_996))
    assert selector.position == 1


def test_a_voltage_that_trembles_on_the_border_does_not_flicker():
    selector = Selector(settings_with(selector_positions=3))
    selector.step(SmallInt(1_400))
    seen = set()
    for selector_mv in (1_400, 1_600, 1_450, 1_550, 1_900, 1_100):
        selector.step(SmallInt(selector_mv))
        seen.add(selector.position)
    assert seen == {0}


@pytest.mark.parametrize("positions", [2, 3, 4, 5, 6])
def test_every_position_is_reached_at_its_place_with_its_own_share(positions):
    shares = {f"share_{number}_permille": number * 100 for number in range(1, 7)}
    selector = Selector(settings_with(selector_positions=positions, **shares))
    for number in [*range(positions), *reversed(range(positions))]:
        selector.step(SmallInt(500 + 4_000 * number // (positions - 1)))
        assert selector.position == number
        assert selector.share_permille == (number + 1) * 100


@pytest.mark.parametrize(("selector_mv", "wire_open"), [(199, True), (200, False)])
def test_the_lowest_voltage_of_the_window_is_a_voltage(selector_mv, wire_open):
    selector = Selector(settings_with(selector_positions=3))
    selector.step(SmallInt(selector_mv))
    assert selector.wire_open is wire_open


@pytest.mark.parametrize(
    ("positions", "selector_mv", "position"),
    [
        # 2 positions, a permille in every millivolt: position 1 sits at 1500 mV.
        (2, 1_250, 0),
        (2, 1_251, 1),
        # 4 positions, so 3 thousandths of a step in every millivolt.
        (4, 999, 1),
        (4, 1_000, 2),
        (4, 1_333, 2),
        (4, 1_334, 3),
    ],
)
def test_a_position_is_left_for_the_nearest_one_beyond_three_quarters_of_a_step(
    positions, selector_mv, position
):
    selector = Selector(
        settings_with(selector_positions=positions, selector_low_mv=500, selector_high_mv=1_500)
    )
    selector.step(SmallInt(selector_mv))
    assert selector.position == position


def test_a_throttle_that_was_never_looked_at_has_no_fault():
    throttle = Throttle(settings_with())
    assert (throttle.wire_open, throttle.wire_shorted) == (False, False)
