"""Engage and release thresholds: what one ride predicts for all is what the firmware does with each."""

import pytest

from host_sim.bench.assemble import bench_for
from host_sim.bench.course import course_from
from host_sim.bench.script import CourseScript
from host_sim.bikes.load import load_bike
from host_sim.tuning.drive_rides import start_course, step_course
from host_sim.tuning.engage_rides import EngageRide, EngageWatch, engage_course
from host_sim.tuning.engage_thresholds import choose_engage, edge_candidates, least_edges, least_engage_rpm
from host_sim.tuning.release_course import FLAWS, SOUND, climb_ripple, release_course, worst_magnet
from host_sim.tuning.release_rides import ReleaseRide, ReleaseRides
from host_sim.tuning.release_thresholds import choose_release, safe_percents
from host_sim.tuning.ring_ride import RingRide
from host_sim.tuning.score import PRIORITIES
from host_sim.tuning.stop_rides import (
    measure_stops,
    stop_course,
    stop_gap_s,
    way_with_help_m,
    way_with_wheel_lost_m,
)
from host_sim.tuning.variant import with_settings
from tests.on_compiled import on_compiled
from tests.quick_first import quick_first


@pytest.fixture(scope="module")
def trike():
    return load_bike("cargo_trike")


@pytest.fixture(scope="module")
def trike_ride(trike):
    return EngageRide(trike)


@pytest.mark.long
@pytest.mark.parametrize(("edges", "rpm"), [(5, 20), (9, 30)])
def test_one_ride_tells_for_other_thresholds_what_the_firmware_does_with_them(trike, trike_ride, edges, rpm):
    predicted = trike_ride.measures(edges, rpm)
    ridden = EngageRide(with_settings(trike, {"engage_edges": edges, "engage_rpm": rpm})).as_ridden()
    assert predicted.false_share == ridden.false_share
    assert predicted.delay_s == pytest.approx(ridden.delay_s, abs=1e-6)


def test_more_edges_come_later_and_are_fooled_less(trike, trike_ride):
    ride = trike_ride
    few, many = ride.measures(5, 15), ride.measures(10, 15)
    assert few.delay_s < many.delay_s
    assert few.false_share == 30 / 88
    assert many.false_share == 0.0


def nudged(bike, seeds=(1,)) -> float:
    """Return the share of nudges, rocking and shaking that engaged as ridden, over some rides."""
    shares = [EngageRide(bike, seed).as_ridden().false_share for seed in seeds]
    return sum(shares) / len(shares)


@pytest.mark.long
@pytest.mark.parametrize(("name", "tenth"), quick_first(1, [("cargo_trike", 5), ("tandem", 10)]))
def test_a_sixth_of_a_turn_by_default_is_hardly_fooled_where_a_tenth_was(name, tenth):
    bike = load_bike(name)
    assert nudged(with_settings(bike, {"engage_edges": tenth})) >= 26 / 88
    assert nudged(bike) <= 1 / 88


@pytest.mark.long
def test_the_folding_bicycle_is_hardly_fooled_by_default():
    assert nudged(load_bike("folding")) == 3 / 88  # One channel takes rocking for pedalling.


@pytest.mark.long
@on_compiled
def test_the_chosen_edges_are_the_fewest_that_nothing_fools(trike):
    # A nudge is at most 0.16 of a turn, 58 degrees, of 40 edges a turn that is 6; unevenness and the pedal
    # that comes to rest add one.
    choice = choose_engage(trike, PRIORITIES["balanced"])
    assert choice.chosen.engage_edges == 8
    assert choice.chosen.measures.false_share == 0.0
    fewer = next(one for one in choice.over_edges if one.engage_edges == 7)
    assert fewer.measures.false_share > 0.0
    assert [point.engage_edges for point in choice.over_edges][:3] == [5, 6, 7]


def test_edges_that_a_first_pitch_takes_anyway_are_no_candidates(trike):
    assert least_edges(trike) == 5
    assert edge_candidates(trike)[0] == 5
    assert edge_candidates(trike)[-1] == 12  # 0.3 of a turn.
    assert least_edges(load_bike("folding")) == 3


@pytest.mark.long
@on_compiled
def test_a_ring_of_six_on_one_channel_can_not_engage_slower_than_it_can_show():
    # "steady help" promises from a third above on; the ring shows down to 24.8 rpm at the taper (verify
    # says 25).
    assert least_engage_rpm(load_bike("folding")) == pytest.approx(20.2, abs=0.1)
    choice = choose_engage(load_bike("folding"), PRIORITIES["quick"])
    assert choice.chosen.engage_rpm == 21  # In a hurry the lowest whole number above that.


@pytest.mark.long
@on_compiled
def test_the_rest_is_chosen_for_thresholds_that_are_kept():
    folding = load_bike("folding")
    free = choose_engage(folding, PRIORITIES["balanced"])
    slow = choose_engage(folding, PRIORITIES["balanced"], kept={"release_rpm": 35})
    # Engaging at 20 rpm and releasing at 35 would be no legal pair.
    assert free.chosen.engage_rpm < 35
    assert slow.chosen.engage_rpm >= 37
    assert slow.before_keeping == free.chosen
    few = choose_engage(folding, PRIORITIES["balanced"], kept={"engage_edges": 6, "engage_rpm": 30})
    assert (few.chosen.engage_edges, few.chosen.engage_rpm) == (6, 30)
    rides = ReleaseRides(folding)
    kept = choose_release(folding, 40, rides, {"release_rpm": 35})
    assert kept.chosen.release_rpm == kept.sound.release_rpm == 35
    assert kept.before_keeping.release_rpm < 35
    gap = choose_release(folding, 40, rides, {"stop_pitch_percent": 150})
    assert gap.chosen.stop_pitch_percent == gap.sound.stop_pitch_percent == 150


@pytest.mark.long
@on_compiled
def test_a_release_cadence_too_high_lapses_and_one_too_low_runs_on(trike):
    settings = [
        with_settings(
            trike, {"engage_rpm": 15, "release_rpm": rpm, "stop_pitch_percent": 200}
        ).firmware_settings
        for rpm in (4, 8, 13)
    ]
    low, middle, high = (ReleaseRide(trike, 16.5).measures(one) for one in settings)
    assert high.lapses_per_min == pytest.approx(29.0, abs=0.1)
    assert low.lapses_per_min == middle.lapses_per_min == 0.0
    assert low.run_on_s > 1.3 * middle.run_on_s


@pytest.mark.long
@pytest.mark.parametrize("flaw", [SOUND, *FLAWS], ids=lambda flaw: flaw.name)
@pytest.mark.parametrize(("rpm", "percent"), quick_first(2, [(8, 145), (12, 300), (19, 100), (21, 120)]))
def test_leaving_out_what_tells_nothing_changes_no_answer(flaw, rpm, percent):
    folding = load_bike("folding")
    tried = {"release_rpm": rpm, "stop_pitch_percent": percent, "engage_rpm": 22}
    settings = with_settings(folding, tried).firmware_settings
    ride = RingRide(folding, 24.2, 1, flaw)
    assert ride.parts(settings) == ride.parts(settings, every_step=True)


@pytest.mark.long
@pytest.mark.parametrize(
    ("name", "sound_lapses_per_min"),
    # The best for a sound trike, 160 %, bridges a gap at brisk cadences; six magnets lapse in each turn.
    [("cargo_trike", 25.6), ("folding", 64.8)],
)
@on_compiled
def test_a_magnet_missing_does_not_switch_help_off_and_on_with_what_is_recommended(
    name, sound_lapses_per_min
):
    # With 100 % help came back 41 times in 40 s: with every turn of the crank.
    bike = load_bike(name)
    choice = choose_release(bike, 22, ReleaseRides(bike))
    changes = {
        "engage_rpm": 22,
        "release_rpm": choice.chosen.release_rpm,
        "stop_pitch_percent": choice.chosen.stop_pitch_percent,
    }
    assert engagements_without_a_magnet(with_settings(bike, changes), 60.0) == 1
    assert choice.chosen.stop_pitch_percent > 100
    # The price is stated against what would be best for a ring that is and stays sound.
    assert choice.sound.measures.run_on_s < choice.chosen.measures.run_on_s
    assert choice.incurable_per_min == 0.0
    assert choice.sound.measures.missing_lapses_per_min == pytest.approx(sound_lapses_per_min, abs=0.1)


@pytest.mark.long
@on_compiled
def test_what_no_setting_cures_is_said():
    # A duty-coded ring tells the direction by the high share of a pitch: the pitch of the gap reads backward.
    bike = load_bike("step_through")
    choice = choose_release(bike, 22, ReleaseRides(bike))
    assert choice.incurable_per_min == pytest.approx(90.8, abs=0.1)  # More than once a turn.
    assert choice.chosen.measures.missing_lapses_per_min == 0.0


def engagements_without_a_magnet(bike, cadence_rpm) -> int:
    """Return how often help begins in 40 s of steady pedalling at 12 km/h with the second magnet gone."""
    begin = {"at_s": 0, "cadence_rpm": 0, "crank_free": True, "roller_km_per_h": 12}
    begin["fault"] = [{"name": "magnet missing", "magnet": 2}]
    course = course_from("missing", "A magnet missing", 44, [begin, {"at_s": 4, "cadence_rpm": cadence_rpm}])
    watch = EngageWatch()
    bench = bench_for(bike, 1)
    bench.watch(watch)
    bench.ride(CourseScript(course), course.seconds)
    return len(watch.engaged_s)


@pytest.mark.long
@on_compiled
def test_the_stop_gap_stays_within_the_distance_when_the_wheel_sensor_is_lost():
    # 220 % failed in the fault matrix: "wheel: lost, open or stuck at 22 km/h, coasting: 0.4 s, 2.2 m".
    folding = load_bike("folding")
    assert way_with_wheel_lost_m(folding, 220) == pytest.approx(2.2, abs=0.1)
    assert safe_percents(folding)[-1] == 180
    choice = choose_release(folding, 22, ReleaseRides(folding))
    assert choice.chosen.stop_pitch_percent <= 180


def test_a_gap_of_one_pitch_is_what_a_missing_magnet_makes_fatal(trike):
    assert engagements_without_a_magnet(with_settings(trike, {"stop_pitch_percent": 100}), 60.0) >= 40


def test_the_worst_magnet_is_the_one_furthest_from_its_place(trike):
    # 1.5 degrees of sine and of turns about: the fourth magnet sits 1.4 degrees off.
    assert worst_magnet(trike) == 4
    even = trike.pedal_sensor.model_copy(update={"uneven_deg": 0.0})
    assert worst_magnet(trike.model_copy(update={"pedal_sensor": even})) == 2


def test_no_setting_has_a_part_in_the_rides(trike):
    # What is compared before and after has to be ridden on the same rides.
    other = with_settings(trike, {"engage_rpm": 30, "release_rpm": 5, "stop_pitch_percent": 300})
    for course_of in (
        lambda bike: engage_course(bike)[0],
        lambda bike: release_course(bike, 20.0)[0],
        stop_course,
        lambda bike: step_course(bike)[0],
        start_course,
    ):
        one, two = course_of(trike), course_of(other)
        assert one.seconds == two.seconds
        assert [told(stretch) for stretch in one.stretches] == [told(stretch) for stretch in two.stretches]
        assert len(one.stretches) > 1


def told(stretch) -> list[object]:
    """Return everything about a stretch that has a value of its own."""
    return [getattr(stretch, name) for name in type(stretch).__slots__ if name != "faults"]


@pytest.mark.long
@on_compiled
def test_lapses_count_above_the_engage_cadence_of_the_settings_themselves(trike):
    # Now it engages at 20 rpm and lapsed 20.3 times a minute when ridden at 16.5: nobody promised help there.
    rides = ReleaseRides(trike)
    now = rides.compared(trike.firmware_settings, 15)
    assert trike.firmware_settings.engage_rpm == 20
    assert now.lapses_per_min == 0.0
    assert now == rides.for_engage(20).measures(trike.firmware_settings)


@pytest.mark.long
@on_compiled
def test_stops_are_timed_on_the_rides_of_the_higher_engage_cadence_of_both(trike):
    slow = with_settings(trike, {"engage_rpm": 15, "release_rpm": 8}).firmware_settings
    rides = ReleaseRides(trike)
    compared = rides.compared(slow, 20)
    assert compared.run_on_s == rides.for_engage(20).stops(slow)[0]
    assert compared.run_on_s != rides.for_engage(15).stops(slow)[0]
    assert compared.lapses_per_min == rides.for_engage(15).measures(slow).lapses_per_min


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
