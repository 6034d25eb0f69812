"""A ring or a wire that changes during the capture is noticed, and no statement is wrong."""

import pytest

from host_sim.bench.faults import FaultSpec
from host_sim.capture.advice import advice_of
from host_sim.capture.diagnose import Told, inspect_edges
from host_sim.capture.open_capture import open_capture
from host_sim.cli.ride import RideRequest, ride
from tests.capture.identification.changing import (
    OF_THE_RING,
    change_noticed,
    changing_case,
    inspect_changing,
    stated_wrong,
)
from tests.capture.looking import look, missing, noise, sensor, weak


def _advice(found):
    return " ".join(advice_of(found, None))


@pytest.mark.parametrize("kind", ["two channels", "one channel"])
@pytest.mark.parametrize(("pulses", "at_s"), [(8, 24.0), (10, 12.0), (10, 20.0), (16, 8.0), (24, 22.0)])
def test_a_magnet_that_falls_off_during_the_capture_is_noticed_with_the_time(kind, pulses, at_s):
    found = look(sensor(kind=kind, pulses=pulses, later=((at_s, (missing(5),)),)))
    assert (found.pulses.value, found.pulses.sure) == (pulses, True)
    assert found.missing.value == [5]
    assert [change.lost for change in found.changes] in ([[5]], [[]])
    assert found.changes[0].at_s == pytest.approx(at_s, abs=1.2)  # The magnet passes once a turn, in 1 s.
    assert f"the ring changes during the capture at {found.changes[0].at_s:.1f} s" in _advice(found)
    assert found.fit is False


def test_a_magnet_that_comes_back_is_no_magnet_that_is_there():
    found = look(sensor(faults=(missing(5),), later=((14.0, ()),)))
    assert (found.pulses.value, found.missing.value) == (10, [5])
    assert (found.changes[0].back, found.changes[0].at_s) == ([5], pytest.approx(14.0, abs=1.2))
    assert "magnet 5 is back again" in _advice(found)


def test_a_second_magnet_that_falls_off_is_added_to_the_first():
    found = look(sensor(faults=(missing(5),), later=((14.0, (missing(5), missing(8))),)))
    assert (found.pulses.value, found.missing.value) == (10, [5, 8])
    assert [change.lost for change in found.changes] == [[8]]


def test_a_magnet_that_weakens_is_named_with_the_time():
    found = look(sensor(later=((14.0, (weak(5, 0.6),)),)))
    assert (found.weak.value, found.missing.value) == ([5], [])
    assert (found.changes[0].weak, found.changes[0].at_s) == ([5], pytest.approx(14.0, abs=1.2))


def test_a_magnet_lost_for_the_last_two_turns_leaves_the_missing_magnets_open():
    found = look(sensor(later=((28.0, (missing(5),)),)))
    assert (found.pulses.value, found.missing.sure) == (10, False)


def test_the_cadence_goes_on_over_the_gap_of_a_lost_magnet():
    steady = look(sensor()).cadence
    lost = look(sensor(later=((14.0, (missing(5),)),))).cadence
    assert lost.least == pytest.approx(steady.least, rel=0.03)
    assert lost.most == pytest.approx(steady.most, rel=0.03)


def test_counted_turns_count_the_places_of_lost_magnets():
    turned = sensor(errors_deg=(), ripple=0.0, later=((14.0, (missing(5),)),))
    found = look(turned, turns=29.9)
    assert (found.pulses.value, found.pulses.sure) == (10, True)


@pytest.mark.parametrize("kind", ["two channels", "one channel"])
@pytest.mark.parametrize("faults", [(), (missing(5),), (weak(5, 0.6),), (noise(20.0),)])
def test_a_ring_that_stays_the_same_does_not_change(kind, faults):
    assert look(sensor(kind=kind, faults=faults)).changes == []


@pytest.mark.parametrize("channel", ["A", "B"])
def test_a_channel_that_is_silent_for_a_while_is_named_with_both_times(channel):
    dead = FaultSpec("channel dead", channel=channel)
    found = look(sensor(later=((10.0, (dead,)), (16.0, ()))))
    assert (found.channels.dead, found.fit) == (channel, False)
    assert found.channels.dead_since_s == pytest.approx(10.0, abs=0.15)
    assert found.channels.dead_until_s == pytest.approx(16.0, abs=0.15)
    assert (found.pulses.value, found.changes) == (10, [])
    assert f"channel {channel} stays" in _advice(found)


def test_wires_that_change_places_give_the_time_at_which_the_crank_seems_to_turn_back():
    found = look(sensor(later=((20.0, (FaultSpec("channels swapped"),)),)))
    assert found.turned_s == [pytest.approx(20.0, abs=0.2)]
    assert (found.pulses.value, found.changes) == (10, [])
    assert "swapped in the plug" in _advice(found)


def _inspect_course(tmp_path, seconds):
    path = tmp_path / "course.vcd"
    ride(
        RideRequest(
            "cargo_trike", course="broken_sensor", seconds=seconds, capture=path, out=tmp_path / "ride"
        )
    )
    return inspect_edges(open_capture(path, None, None).chunks, 2, Told())


def test_a_ride_on_which_a_magnet_is_lost_tells_ten_pulses_and_which_is_gone(tmp_path):
    found = _inspect_course(tmp_path, 44)
    assert (found.pulses.value, found.missing.value) == (10, [3])
    assert [change.at_s for change in found.changes] == [pytest.approx(25.0, abs=1.0)]


def test_a_whole_course_of_faults_tells_each_of_them_with_its_time(tmp_path):
    found = _inspect_course(tmp_path, 120)
    assert (found.pulses.value, found.missing.value) == (10, [3])
    # Lost at 25 s; channel A dead from 45 s; plugged in with the wires swapped, turning from 78 s to 95 s;
    # all is well when legs turn again from 106 s on.
    assert [change.at_s for change in found.changes] == [
        pytest.approx(25.0, abs=1.0),
        pytest.approx(106.0, abs=1.0),
    ]
    assert (found.channels.dead, found.channels.dead_since_s) == ("A", pytest.approx(45.0, abs=0.2))
    assert found.turned_s == [pytest.approx(78.0, abs=1.0), pytest.approx(106.0, abs=1.0)]
    assert found.lead.sure is False


@pytest.mark.long
def test_nothing_wrong_is_stated_of_a_small_grid_of_changes():
    for number in range(30):
        case = changing_case(number)
        assert (number, stated_wrong(case, inspect_changing(case))) == (number, [])


@pytest.mark.slow
def test_nothing_wrong_is_stated_of_a_grid_of_changes_and_most_are_noticed():
    wrong, noticed = [], []
    for number in range(600):
        case = changing_case(number)
        found = inspect_changing(case)
        wrong += stated_wrong(case, found)
        if case.happens in OF_THE_RING and case.sensor.kind == "two channels":
            noticed.append(change_noticed(case, found))
    assert len(wrong) <= 6
    assert sum(noticed) >= 0.9 * len(noticed)
