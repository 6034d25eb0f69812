"""The pedal sensor: levels always fit the angle, edges come in order, faults come and go."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from host_sim.plant.pedal_sensor import DEAD, FREE, STUCK_HIGH, STUCK_LOW, PedalSensor

GOOD = {
    "kind": "two_channel",
    "pulses_per_rev": 10,
    "a_leads": True,
    "duty": 0.5,
    "phase_deg": 90.0,
    "angle_errors_deg": [],
    "hysteresis_deg": 0.0,
}
PITCH_RAD = 0.6283185307179586
angles_rad = st.lists(st.floats(-20.0, 20.0), min_size=1, max_size=30)
rings = st.fixed_dictionaries(
    {
        "kind": st.sampled_from(["two_channel", "one_channel"]),
        "a_leads": st.booleans(),
        "duty": st.floats(0.1, 0.9),
        "phase_deg": st.floats(5.0, 175.0),
        "angle_errors_deg": st.lists(st.floats(-17.0, 17.0), min_size=10, max_size=10),
    }
)


def _sensor(**changes):
    return PedalSensor(**{**GOOD, **changes})


@given(ring=rings, path=angles_rad)
def test_after_any_path_the_levels_are_those_of_the_angle_alone(ring, path):
    sensor = _sensor(**ring)
    angle = 0.0
    for following in path:
        sensor.advance(angle, following, 0.0, 1.0)
        angle = following
    assert sensor.levels == _sensor(**ring, crank_rad=angle).levels


@given(path=angles_rad, hysteresis_deg=st.floats(0.0, 20.0))
def test_hysteresis_is_play_between_the_crank_and_the_magnets(path, hysteresis_deg):
    sensor = _sensor(hysteresis_deg=hysteresis_deg)
    half_rad = hysteresis_deg * 3.141592653589793 / 360.0
    angle = felt = 0.0
    for following in path:
        sensor.advance(angle, following, 0.0, 1.0)
        angle = following
        felt = min(max(felt, angle - half_rad), angle + half_rad)
    # Slightly to either side, for angles that fall on an edge.
    near = {_sensor(crank_rad=felt + hair).levels for hair in (-1e-9, 0.0, 1e-9)}
    assert sensor.levels in near


@given(ring=rings, path=angles_rad)
def test_edges_come_in_time_order_inside_the_step_and_each_changes_the_levels(ring, path):
    sensor = _sensor(**ring)
    angle, before = 0.0, sensor.levels
    for index, following in enumerate(path):
        count = sensor.advance(angle, following, float(index), 1.0)
        times_s = sensor.edge_times_s[:count]
        assert times_s == sorted(times_s)
        assert all(index <= time_s <= index + 1.0 for time_s in times_s)
        for levels in sensor.edge_levels[:count]:
            assert levels != before
            before = levels
        assert before == sensor.levels
        angle = following


def test_an_edge_time_is_interpolated_between_the_two_angles():
    # Channel A rises an eighth of a pitch from angle 0; the step covers a quarter in 8 ms.
    sensor = _sensor()
    assert sensor.advance(0.0, PITCH_RAD / 4.0, 1.0, 0.008) == 1
    assert sensor.edge_times_s[0] == pytest.approx(1.004, abs=1e-12)
    assert sensor.edge_levels[0] == 1
    assert sensor.edge_count == 1


def test_a_crank_that_stands_gives_no_edge():
    sensor = _sensor()
    sensor.advance(0.0, 1.0, 0.0, 0.005)
    assert sensor.advance(1.0, 1.0, 0.005, 0.005) == 0
    assert sensor.edge_count == 0


def test_many_edges_in_one_step_make_the_buffers_grow():
    sensor = _sensor()
    assert sensor.advance(0.0, 62.83185307, 0.0, 1.0) == 400
    assert len(sensor.edge_times_s) == len(sensor.edge_levels) == 400


@pytest.mark.parametrize(("state", "bit"), [(STUCK_LOW, 0), (STUCK_HIGH, 1)])
@pytest.mark.parametrize("channel", [0, 1])
def test_a_stuck_channel_keeps_its_level_while_the_other_works_on(channel, state, bit):
    sensor = _sensor()
    sensor.set_channel(channel, state)
    # Two edges per magnet from the healthy channel, and one at first where the stuck level was not there yet.
    assert sensor.advance(0.0, 6.283, 0.0, 1.0) == 20 + bit
    assert {levels >> channel & 1 for levels in sensor.edge_levels[: sensor.edge_count]} == {bit}


def test_a_channel_that_dies_high_stays_high_and_comes_back_when_mended():
    sensor = _sensor()
    sensor.advance(0.0, PITCH_RAD / 4.0, 0.0, 1.0)
    assert sensor.levels == 1
    sensor.set_channel(0, DEAD)
    assert sensor.advance(PITCH_RAD / 4.0, PITCH_RAD, 1.0, 1.0) == 2
    assert sensor.levels == 1
    sensor.set_channel(0, FREE)
    assert sensor.levels == 0
    assert sensor.advance(PITCH_RAD, PITCH_RAD, 2.0, 1.0) == 1
    assert (sensor.edge_levels[0], sensor.edge_times_s[0]) == (0, 2.0)


def test_a_fault_that_changes_a_level_is_itself_an_edge_at_the_start_of_the_next_step():
    sensor = _sensor()
    sensor.set_channel(1, STUCK_HIGH)
    assert sensor.levels == 2
    assert sensor.advance(0.0, 0.0, 5.0, 0.005) == 1
    assert (sensor.edge_levels[0], sensor.edge_times_s[0]) == (2, 5.0)
    assert sensor.advance(0.0, 0.0, 5.005, 0.005) == 0


def test_swapped_wires_exchange_a_and_b_and_can_be_put_right():
    sensor = _sensor()
    sensor.swap_channels(True)
    sensor.advance(0.0, PITCH_RAD, 0.0, 1.0)
    assert sensor.edge_levels[:4] == [2, 3, 1, 0]
    sensor.swap_channels(False)
    sensor.advance(PITCH_RAD, 2.0 * PITCH_RAD, 1.0, 1.0)
    assert sensor.edge_levels[:4] == [1, 3, 2, 0]


def test_a_channel_dies_behind_swapped_wires_at_the_level_it_showed():
    sensor = _sensor()
    sensor.swap_channels(True)
    sensor.advance(0.0, PITCH_RAD / 4.0, 0.0, 1.0)
    assert sensor.levels == 2
    sensor.set_channel(0, DEAD)
    sensor.advance(PITCH_RAD / 4.0, PITCH_RAD, 1.0, 1.0)
    assert sensor.levels == 2


def test_all_magnets_gone_give_no_edges_and_come_back():
    sensor = _sensor()
    for index in range(10):
        sensor.set_magnet(index, 0.0)
    assert sensor.advance(0.0, 6.0, 0.0, 1.0) == 0
    for index in range(10):
        sensor.set_magnet(index, 1.0)
    assert sensor.advance(6.0, 6.0 + 2.0 * 3.14159265, 1.0, 1.0) in (40, 41)


def test_a_magnet_lost_beside_the_pickup_drops_the_level_at_once():
    sensor = _sensor()
    sensor.advance(0.0, PITCH_RAD / 4.0, 0.0, 1.0)
    sensor.set_magnet(0, 0.0)
    assert sensor.advance(PITCH_RAD / 4.0, PITCH_RAD / 4.0, 1.0, 1.0) == 1
    assert (sensor.levels, sensor.edge_times_s[0]) == (0, 1.0)


def test_a_duty_coded_part_shows_a_change_of_direction_within_one_pitch():
    sensor = _sensor(kind="duty_coded", duty=0.7)
    sensor.advance(0.0, 10.0 * PITCH_RAD, 0.0, 1.0)
    # Backward: high from 30 % of a pitch down to its start, low for the other 70 %.
    assert sensor.advance(10.0 * PITCH_RAD, 9.0 * PITCH_RAD, 1.0, 1.0) == 2
    high_s = sensor.edge_times_s[1] - sensor.edge_times_s[0]
    assert sensor.edge_levels[:2] == [1, 0]
    assert high_s == pytest.approx(0.3, abs=1e-9)


@pytest.mark.parametrize(
    ("changes", "message"),
    [
        ({"kind": "three"}, "kind must be .*, got 'three'"),
        ({"pulses_per_rev": 0}, "pulses_per_rev must be a whole number from 1 to 128, got 0"),
        ({"pulses_per_rev": 129}, "pulses_per_rev must be a whole number from 1 to 128, got 129"),
        ({"pulses_per_rev": 2.5}, "pulses_per_rev must be a whole number from 1 to 128, got 2.5"),
        ({"duty": 0.09}, "duty must be 0.1 to 0.9, got 0.09"),
        ({"duty": float("nan")}, "duty must be 0.1 to 0.9, got nan"),
        ({"kind": "duty_coded"}, "duty of a duty-coded sensor must be 0.1 to 0.45 or 0.55 to 0.9, got 0.5"),
        ({"phase_deg": 176.0}, "phase_deg must be 5 to 175 degrees, got 176.0"),
        ({"angle_errors_deg": [0.0]}, "angle_errors_deg must have 10 or no entries, got 1"),
        (
            {"angle_errors_deg": [0.0] * 9 + [18.1]},
            r"angle_errors_deg\[9\] must be -18 to 18 degrees, got 18.1",
        ),
        ({"hysteresis_deg": -0.1}, "hysteresis_deg must be 0 to 20 degrees, got -0.1"),
    ],
)
def test_a_value_out_of_range_is_refused_by_name(changes, message):
    with pytest.raises(ValueError, match=message):
        _sensor(**changes)


@pytest.mark.parametrize(
    ("call", "message"),
    [
        (lambda sensor: sensor.set_channel(2, FREE), "channel must be a whole number from 0 to 1, got 2"),
        (lambda sensor: sensor.set_channel(0, 4), "state must be a whole number from 0 to 3, got 4"),
        (lambda sensor: sensor.set_magnet(10, 1.0), "index must be a whole number from 0 to 9, got 10"),
        (lambda sensor: sensor.set_magnet(0, 1.1), "strength must be 0 to 1, got 1.1"),
    ],
)
def test_a_fault_that_does_not_exist_is_refused(call, message):
    with pytest.raises(ValueError, match=message):
        call(_sensor())
