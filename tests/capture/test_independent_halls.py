"""Sensors that a board would misread are not called fit: captures from an independent source."""

import pytest

from host_sim.capture.advice import advice_of
from host_sim.capture.diagnose import Told, inspect_edges
from tests.capture.halls.grid import NOT_FIT, case
from tests.capture.halls.judging import fit_is_wrong, inspect, verdicts
from tests.capture.halls.legs import Legs
from tests.capture.halls.ring import Magnets, sweep
from tests.capture.halls.wires import Capture, edges_of, first_magnet, source_of

PLACES_12 = (0.01, -0.02, 0.03, 0.0, -0.03, 0.02, 0.01, -0.01, 0.025, -0.015, 0.0, 0.02)


def _look(capture, told=None):
    chunk, _ = edges_of(capture)
    return inspect_edges(lambda: source_of(chunk), capture.channels, told or Told((2.0, 8.0)))


def _advice(found):
    return " ".join(advice_of(found, None))


def test_a_healthy_ring_is_fit_and_its_numbers_are_those_of_the_ring():
    found = _look(Capture(Magnets(12, duty=0.45, phase=0.22, places=PLACES_12)))
    assert (found.pulses.value, found.fit, found.lead.value) == (12, True, "A")
    assert found.phase_deg.value == pytest.approx(0.22 * 360.0, abs=2.0)
    assert found.duty["A"].value == pytest.approx(0.45, abs=0.01)
    assert (found.lacking, found.odd_edges_a_turn) == ([], 0.0)


@pytest.mark.parametrize("channel", [0, 1])
def test_a_magnet_that_one_channel_misses_is_named_and_the_sensor_is_not_fit(channel):
    strengths = ({5: 0.3}, {}) if channel == 0 else ({}, {5: 0.3})
    capture = Capture(Magnets(12, places=PLACES_12, strengths=strengths))
    found = _look(capture)
    number = (5 - first_magnet(capture)) % 12 + 1
    assert [(one.channel, one.magnet) for one in found.lacking] == [("AB"[channel], number)]
    assert found.odd_edges_a_turn >= 0.9
    assert found.fit is False
    assert f"channel {'AB'[channel]} does not see magnet {number}" in _advice(found)


def test_a_healthy_looking_ring_of_20_whose_pulses_hardly_overlap_is_not_fit():
    places = tuple(0.002 * (number * 7 % 5 - 2) for number in range(20))
    ring = Magnets(20, duty=0.16, phase=52.0 / 360.0, places=places)
    assert sweep(ring).ordered is True
    found = _look(Capture(ring, Legs((("turn", 30.0, 80.0),))))
    assert (found.board.rejected > 100, found.fit) == (True, False)
    assert found.overlap.share == pytest.approx(sweep(ring).overlap, abs=0.003)
    # A sixteenth of the pitch at 250 rpm: 0.0156 of a pitch is refused above 62 rpm.
    assert found.overlap.highest_rpm == pytest.approx(62.0, abs=6.0)
    assert "A and B overlap too briefly" in _advice(found)
    assert "move the two pickups farther apart" in _advice(found)


@pytest.mark.parametrize("swing", [0.0, 0.22])
@pytest.mark.parametrize("count", [6, 12, 24, 32])
@pytest.mark.parametrize("channel", [0, 1])
def test_a_magnet_weak_on_one_channel_is_named_although_the_board_counts_right(channel, count, swing):
    weak = {5: 0.6}
    ring = Magnets(count, places=_uneven(count), strengths=(weak, {}) if channel == 0 else ({}, weak))
    capture = Capture(ring, Legs(swing=swing), seed=count)
    found = _look(capture)
    number = (5 - first_magnet(capture)) % count + 1
    assert [(one.channel, one.magnet, one.sure) for one in found.unequal] == [("AB"[channel], number, True)]
    assert "a magnet is weak on one channel" in found.why
    assert f"magnet {number} is weak on {'AB'[channel]} only" in _advice(found)
    assert (found.board.backward, found.board.rejected) == (0, 0)


def test_a_weak_magnet_of_a_part_that_is_low_over_magnets_is_found_as_well():
    ring = Magnets(12, places=PLACES_12, strengths=({5: 0.6}, {}))
    found = _look(Capture(ring, low_active=True))
    assert [(one.channel, one.sure) for one in found.unequal] == [("A", True)]


def test_what_is_nearly_as_long_as_the_other_pulse_asks_for_volts():
    ring = Magnets(12, places=PLACES_12, strengths=({5: 0.76}, {}))
    found = _look(Capture(ring))
    assert [one.sure for one in found.unequal] == [False]
    assert found.weak.sure is False
    assert "Record the volts of both outputs with an oscilloscope" in _advice(found)


def test_a_fault_that_comes_again_evenly_makes_the_turn_a_guess():
    weak = {5: 0.6, 11: 0.6}
    found = _look(Capture(Magnets(12, places=PLACES_12, strengths=(weak, {}))))
    assert (
        sorted(one.magnet % 6 for one in found.unequal)[0]
        == sorted(one.magnet % 6 for one in found.unequal)[1]
    )
    assert found.pulses.sure is False


def _uneven(count):
    return tuple(0.03 * ((7 * place) % 11 - 5) / 5.0 for place in range(count))


def test_the_overlap_is_that_of_the_worst_magnet():
    ring = Magnets(12, duty=0.4, phase=0.25, places=PLACES_12, strengths=({7: 0.6}, {}))
    capture = Capture(ring)
    found = _look(capture)
    assert found.overlap.magnet == (7 - first_magnet(capture)) % 12 + 1
    assert found.overlap.share == pytest.approx(sweep(ring).overlap, abs=0.01)


@pytest.mark.parametrize("count", [8, 10, 12, 20])
@pytest.mark.parametrize("lame", [0.2, 0.28, 0.35])
def test_of_one_channel_and_one_strong_leg_no_pulses_are_stated_that_are_wrong(count, lame):
    found = _look(Capture(Magnets(count), Legs(lame=lame), channels=1, seed=count))
    assert found.pulses.value == count or not found.pulses.sure
    assert found.missing.value in ([], None)
    assert found.changes == []
    if not found.pulses.sure:
        assert "--turns" in _advice(found)


@pytest.mark.parametrize("dead", [0, 1])
def test_a_wire_that_is_dead_from_the_start_is_no_sensor_with_one_channel(dead):
    found = _look(Capture(Magnets(10), dead=(dead,)))
    assert (found.channels.dead, found.fit) == ("AB"[dead], False)
    assert "name only the other channel in --channels" in _advice(found)


ROCKED = (
    ("turn", 12.0, 60.0),
    ("stand", 1.5),
    ("rock", 3.0, 10.0),
    ("turn", 10.0, 60.0),
    ("turn", 4.0, -40.0),
)


@pytest.mark.parametrize("count", [12, 20, 32])
def test_a_crank_that_was_rocked_is_called_that_and_no_magnet_fell_off(count):
    found = _look(Capture(Magnets(count), Legs((*ROCKED, ("turn", 8.0, 50.0)))))
    assert (found.changes, found.missing.value or [], found.lacking) == ([], [], [])
    assert "mend noise and magnets" not in _advice(found)
    assert "the crank was rocked" in _advice(found)


def test_four_magnets_and_swinging_legs_make_the_phase_a_guess():
    found = _look(Capture(Magnets(4, places=(0.03, -0.02, 0.01, -0.03)), Legs(swing=0.28)))
    assert found.phase_deg.sure is False


def test_without_overlap_the_number_of_a_missing_magnet_is_a_guess():
    gone = {5: 0.0}
    stops = (("turn", 10.0, 60.0), ("stand", 2.0), ("turn", 10.0, 60.0), ("stand", 2.0), ("turn", 10.0, 60.0))
    found = _look(Capture(Magnets(32, duty=0.2, strengths=(gone, gone)), Legs(stops)))
    assert (found.decodable.value, found.fit) == (False, False)
    assert found.missing.sure is False


@pytest.mark.parametrize(("phase_deg", "remedy"), [(45.0, "farther apart"), (135.0, "closer together")])
def test_a_phase_is_mended_by_the_distance_between_the_pickups(phase_deg, remedy):
    words = _advice(_look(Capture(Magnets(12, places=PLACES_12, phase=phase_deg / 360.0))))
    assert f"move the two pickups {remedy}" in words
    assert "along the ring together" not in words


def test_bounce_and_noise_are_both_told():
    words = _advice(_look(Capture(Magnets(12, places=PLACES_12), bounce=True, noise_per_s=4.0)))
    assert "edges bounce" in words
    assert "noise pulses a second" in words


@pytest.mark.long
def test_of_a_small_grid_nothing_unfit_is_called_fit_and_hardly_anything_stated_is_wrong():
    judged = []
    for number in range(34):
        one = case(number)
        found = inspect(one)
        assert (number, one.name, fit_is_wrong(one, found)) == (number, one.name, False)
        judged += verdicts(one, found)
    stated = [one for one in judged if one.stated]
    assert sum(one.right for one in stated) >= 0.98 * len(stated)
    assert len(stated) > 200
    assert len(NOT_FIT) >= 9
