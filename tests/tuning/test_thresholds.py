"""Engage and release thresholds: what one ride predicts for all is what the firmware does with each."""

import pytest

from host_sim.bikes.load import load_bike
from host_sim.tuning.engage_rides import EngageRide
from host_sim.tuning.release_rides import climb_ripple, ride_release
from host_sim.tuning.score import PRIORITIES
from host_sim.tuning.stop_rides import measure_stops, stop_gap_s, way_with_help_m
from host_sim.tuning.thresholds import choose_engage, edge_candidates, least_edges, least_engage_rpm
from host_sim.tuning.variant import with_settings


@pytest.fixture(scope="module")
def trike():
    return load_bike("cargo_trike")


@pytest.mark.parametrize(("edges", "rpm"), [(5, 20), (9, 30)])
def test_one_ride_tells_for_other_thresholds_what_the_firmware_does_with_them(trike, edges, rpm):
    predicted = EngageRide(trike).measures(edges, rpm)
    ridden = EngageRide(with_settings(trike, {"engage_edges": edges, "engage_rpm": rpm})).as_ridden()
    assert predicted.false_share == ridden.false_share
    assert predicted.delay_s == pytest.approx(ridden.delay_s, abs=1e-6)


def test_more_edges_come_later_and_are_fooled_less(trike):
    ride = EngageRide(trike)
    few, many = ride.measures(5, 15), ride.measures(10, 15)
    assert few.delay_s < many.delay_s
    assert few.false_share > 0.2
    assert many.false_share == 0.0


def nudged(bike, seeds=(1, 2, 3)) -> float:
    """Return the share of nudges, rocking and shaking that engaged as ridden, over some rides."""
    shares = [EngageRide(bike, seed).as_ridden().false_share for seed in seeds]
    return sum(shares) / len(shares)


@pytest.mark.parametrize(("name", "tenth"), [("cargo_trike", 5), ("tandem", 10)])
def test_a_sixth_of_a_turn_by_default_is_hardly_fooled_where_a_tenth_was(name, tenth):
    bike = load_bike(name)
    assert nudged(with_settings(bike, {"engage_edges": tenth})) > 0.15
    assert nudged(bike) < 0.02


def test_the_folding_bicycle_is_hardly_fooled_by_default():
    assert nudged(load_bike("folding")) < 0.03


def test_the_chosen_edges_are_the_fewest_that_nothing_fools(trike):
    # A nudge is at most 0.16 of a turn, 58 degrees; of 40 edges a turn that is 6, so 7 are the fewest.
    choice = choose_engage(trike, PRIORITIES["balanced"])
    assert choice.chosen.engage_edges == 7
    assert choice.chosen.measures.false_share == 0.0
    assert [point.engage_edges for point in choice.over_edges][:3] == [5, 6, 7]


def test_edges_that_a_first_pitch_takes_anyway_are_no_candidates(trike):
    assert least_edges(trike) == 5
    assert edge_candidates(trike)[0] == 5
    assert edge_candidates(trike)[-1] == 12  # 0.3 of a turn.
    assert least_edges(load_bike("folding")) == 3


def test_a_ring_of_six_on_one_channel_can_not_engage_slower_than_it_can_show():
    # "steady help" promises from a third above on; the ring shows down to 24.8 rpm at the taper (verify
    # says 25).
    assert least_engage_rpm(load_bike("folding")) == pytest.approx(20.2, abs=0.1)
    choice = choose_engage(load_bike("folding"), PRIORITIES["quick"])
    assert choice.chosen.engage_rpm >= 22


def test_a_release_cadence_too_high_lapses_and_one_too_low_runs_on(trike):
    settings = [
        with_settings(
            trike, {"engage_rpm": 15, "release_rpm": rpm, "stop_pitch_percent": 200}
        ).firmware_settings
        for rpm in (4, 8, 13)
    ]
    low, middle, high = ride_release(trike, settings, 16.5)
    assert high.lapses_per_min > 5.0
    assert low.lapses_per_min == middle.lapses_per_min == 0.0
    assert low.run_on_s > 1.3 * middle.run_on_s


def test_the_settings_that_are_tried_do_not_disturb_each_other():
    folding = load_bike("folding")
    tried = [
        with_settings(folding, {"release_rpm": rpm, "stop_pitch_percent": percent}).firmware_settings
        for rpm, percent in ((8, 145), (19, 100), (12, 300))
    ]
    together = ride_release(folding, tried, 22.0)
    assert ride_release(folding, tried[:1], 22.0) == together[:1]
    assert ride_release(folding, tried[2:], 22.0) == together[2:]


def test_the_climb_ripple_is_the_hand_calculation(trike):
    # 30 rpm in the lowest gear of 1.9 m: 0.95 m/s; 100 W * 0.73 / (4 pi * 0.5 * 183 * 0.95^2) = 0.0704.
    assert climb_ripple(trike, 30.0) == pytest.approx(0.0704, abs=0.0002)
    assert climb_ripple(trike, 200.0) == 0.05  # Never below that of the bike file.
    assert climb_ripple(trike, 5.0) == 0.3


def test_the_stop_gap_is_the_least_of_its_three_bounds(trike):
    settings = with_settings(trike, {"release_rpm": 10, "stop_pitch_percent": 150}).firmware_settings
    # Release gap 60 / (10 * 10) * 0.326 = 0.1956 s; 150 % of a pitch at 60 rpm 0.15 s; 2 m at 20 m/s 0.04 s.
    assert stop_gap_s(settings, 2.0, 20.0) == pytest.approx(0.1956, abs=1e-4)
    assert stop_gap_s(settings, 2.0, 60.0) == pytest.approx(0.15)
    assert stop_gap_s(settings, 20.0, 60.0) == pytest.approx(0.1 - 0.06 - 0.005)
    assert way_with_help_m(settings, 2.0, 60.0) == pytest.approx(2.0 * 0.215)


def test_the_way_with_help_that_is_worked_out_covers_what_is_ridden(trike):
    settings = trike.firmware_settings
    ridden = measure_stops(trike)
    speed_m_per_s = 0.97 * settings.cutoff_speed_mm_per_s / 1000.0
    assert 0.2 * way_with_help_m(settings, speed_m_per_s, 60.0) < ridden.distance_m
    assert ridden.distance_m < way_with_help_m(settings, speed_m_per_s, 60.0)
