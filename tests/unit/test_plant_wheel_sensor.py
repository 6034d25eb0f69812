"""The wheel sensor gives as many pulses as the wheel turns."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from host_sim.plant.wheel_sensor import WheelSensor


def test_one_magnet_gives_one_pulse_a_turn_at_interpolated_times():
    sensor = WheelSensor(1, 2.0)
    assert sensor.advance(0.0, 5.5, 10.0, 5.5) == 3
    assert sensor.edge_times_s[:3] == pytest.approx([11.0, 13.0, 15.0])
    assert sensor.edge_count == 3


@given(pieces=st.lists(st.floats(0.0, 3.0), max_size=50), pulses=st.sampled_from([1, 6, 100]))
def test_any_pieces_of_way_give_the_pulses_of_the_whole(pieces, pulses):
    sensor = WheelSensor(pulses, 2.1)
    whole = WheelSensor(pulses, 2.1)
    way_m, count = 0.0, 0
    for piece_m in pieces:
        count += sensor.advance(way_m, way_m + piece_m, 0.0, 0.005)
        way_m += piece_m
    assert count == whole.advance(0.0, way_m, 0.0, 1.0)


def test_a_dead_sensor_gives_nothing_and_does_not_make_up_for_it_later():
    sensor = WheelSensor(1, 2.0)
    sensor.working = False
    assert sensor.advance(0.0, 10.0, 0.0, 1.0) == 0
    sensor.working = True
    assert sensor.advance(10.0, 12.0, 1.0, 1.0) == 1


def test_many_pulses_in_one_step_make_the_buffer_grow():
    assert WheelSensor(100, 2.0).advance(0.0, 4.0, 0.0, 1.0) == 200


@pytest.mark.parametrize(
    ("arguments", "message"),
    [
        ((0, 2.0), "pulses_per_rev must be a whole number from 1 to 200, got 0"),
        ((201, 2.0), "pulses_per_rev must be a whole number from 1 to 200, got 201"),
        ((1, 0.2), "wheel_circumference_m must be 0.3 to 4 m, got 0.2"),
    ],
)
def test_a_value_out_of_range_is_refused_by_name(arguments, message):
    with pytest.raises(ValueError, match=message):
        WheelSensor(*arguments)
