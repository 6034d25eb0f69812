"""The cadences, stop times and distances that follow from a ring are those of the firmware's rule."""

import pytest

from firmware.settings import Settings
from host_sim.bikes.fit import edge_gaps as gaps_of_bike
from host_sim.bikes.load import load_bike
from host_sim.capture.ring import Magnet, Ring
from host_sim.capture.stopping import edge_gaps, support_of

TWO_CHANNELS, ONE_CHANNEL = Settings({}), Settings({"sensor_kind": 1})


def _ring(pulses, duty=0.5, phase_deg=90.0, missing=(), errors_deg=None):
    two = phase_deg == phase_deg
    magnets = [
        Magnet(
            number,
            0.0 if errors_deg is None else errors_deg[number - 1],
            duty,
            duty if two else float("nan"),
            1.0,
        )
        for number in range(1, pulses + 1)
        if number not in missing
    ]
    return Ring(pulses, magnets, list(missing), [], False, duty, duty, phase_deg)


def _row(support, speed):
    return next(row for row in support.rows if row.speed_km_per_h == speed)


def test_the_gaps_of_a_perfect_ring_are_those_that_the_bike_file_counts_with():
    sensor = load_bike("cargo_trike").pedal_sensor.model_copy(update={"uneven_deg": 0.0})
    found = edge_gaps(_ring(10, duty=0.48, phase_deg=84.0))
    assert max(found) == pytest.approx(max(gaps_of_bike(sensor)))
    assert len(found) == 40


def test_a_missing_magnet_makes_a_gap_of_more_than_a_pitch():
    assert max(edge_gaps(_ring(10, missing=(4,)))) == pytest.approx(1.25)


def test_at_25_km_per_h_two_metres_are_0_288_s():
    # Ring of 6 on one channel: a pitch at 60 rpm is 166.7 ms, 160 % of it 266.7 ms; the rule of distance
    # leaves 2 m / 6.944 m/s = 288 ms, minus 60 ms of the motor controller and 5 ms of the step: 223 ms.
    row = _row(support_of(_ring(6, phase_deg=float("nan")), ONE_CHANNEL, False, 0.0), 25.0)
    assert row.stop_s == pytest.approx(0.288, abs=0.001)
    assert row.distance_m == pytest.approx(2.0, abs=0.01)


def test_a_fine_ring_stops_by_its_own_pitch():
    # 24 magnets at 60 rpm: 41.7 ms a pitch, 160 % of it 66.7 ms, and 65 ms on top.
    row = _row(support_of(_ring(24), TWO_CHANNELS, False, 0.0), 25.0)
    assert row.stop_s == pytest.approx(0.1317, abs=0.001)


def test_few_magnets_on_one_channel_do_not_keep_slow_legs_going_at_speed():
    # Half a pitch of 6 magnets within 223 ms: 60 / (6 * 2 * 0.223) = 22.4 rpm.
    row = _row(support_of(_ring(6, phase_deg=float("nan")), ONE_CHANNEL, False, 0.0), 25.0)
    assert row.slowest_rpm == 23


def test_the_swing_of_the_legs_makes_the_longest_gap_longer():
    still = support_of(_ring(6, phase_deg=float("nan")), ONE_CHANNEL, False, 0.0)
    swinging = support_of(_ring(6, phase_deg=float("nan")), ONE_CHANNEL, False, 0.2)
    assert _row(swinging, 25.0).slowest_rpm == 27
    assert swinging.engage_rpm > still.engage_rpm


def test_a_gap_longer_than_the_share_of_a_pitch_keeps_help_on_at_no_cadence():
    support = support_of(_ring(10, missing=(4, 5)), TWO_CHANNELS, False, 0.0)
    assert support.gap_share == pytest.approx(2.25)
    assert (support.release_rpm, support.engage_rpm) == (0, 0)


def test_engage_stays_above_release_by_what_single_pitches_are_off():
    even = support_of(_ring(10), TWO_CHANNELS, False, 0.0)
    errors = [3.6 if number % 2 else -3.6 for number in range(10)]
    uneven = support_of(_ring(10, errors_deg=errors), TWO_CHANNELS, False, 0.0)
    assert even.engage_rpm == even.release_rpm + 1
    # Neighbours 7.2 degrees apart, a fifth of a pitch: 1.2 / 0.8 is half as much again.
    assert uneven.engage_rpm >= 1.5 * uneven.release_rpm


def test_a_duty_coded_ring_tells_once_a_pitch():
    assert (
        support_of(_ring(10, phase_deg=float("nan")), Settings({"sensor_kind": 2}), True, 0.0).gap_share
        == 1.0
    )
