"""Faults of a sensor are found from its edges, at the right magnet and by the right name."""

import numpy as np
import pytest

from host_sim.bench.faults import FaultSpec
from host_sim.capture.advice import advice_of
from host_sim.capture.diagnose import Told, inspect_edges
from host_sim.capture.duty_code import kind_of_one_channel
from host_sim.capture.edges import EdgeChunk
from host_sim.capture.gathering import gather
from host_sim.capture.stretches import Stretch
from tests.capture.identification.truth import record
from tests.capture.looking import look, look_at, missing, noise, sensor, weak


def _advice(found):
    return " ".join(advice_of(found, None))


@pytest.mark.parametrize("a_leads", [True, False])
def test_the_channel_that_leads_is_told_from_the_seconds_said_to_be_forward(a_leads):
    turned = sensor(a_leads=a_leads, backward_s=15.0)
    lead, other = ("A", "B") if a_leads else ("B", "A")
    recorded = record(turned)
    assert look_at(recorded, turned, forward_s=(2.0, 10.0)).lead.value == lead
    # The same capture, with the backward part given as forward.
    assert look_at(recorded, turned, forward_s=(20.0, 28.0)).lead.value == other


def test_without_a_word_the_lead_can_not_be_told():
    found = look(sensor(), forward_s=None)
    assert (found.lead.value, found.lead.sure) == (None, False)
    assert "--forward 2:8" in _advice(found)


def test_a_minute_of_brisk_pedalling_one_way_makes_a_guess_of_the_lead():
    found = look(sensor(seconds=75.0, rpm=70.0), forward_s=None)
    assert found.lead.value == "A"
    assert found.lead.confidence == 0.8


def test_seconds_without_a_turn_tell_no_lead():
    assert look(sensor(), forward_s=(100.0, 110.0)).lead.value is None


def test_duty_and_phase_are_those_of_the_part():
    found = look(sensor(duty_percent=42.0, phase_deg=75.0))
    assert found.duty["A"].value == pytest.approx(0.42, abs=0.005)
    assert found.duty["B"].value == pytest.approx(0.42, abs=0.005)
    assert found.phase_deg.value == pytest.approx(75.0, abs=1.0)


def test_magnets_are_found_where_they_were_glued():
    turned = sensor(a_leads=False)
    ring = look(turned).ring
    middle = float(np.median(turned.errors_deg))
    for magnet, error_deg in zip(ring.magnets, turned.errors_deg, strict=True):
        assert magnet.error_deg == pytest.approx(error_deg - middle, abs=0.1)


@pytest.mark.parametrize("kind", ["two channels", "one channel"])
def test_a_missing_magnet_has_its_number(kind):
    found = look(sensor(kind=kind, faults=(missing(7),)))
    assert (found.missing.value, found.missing.sure) == ([7], True)
    assert found.fit is False
    assert "magnet 7 is missing" in _advice(found)


@pytest.mark.parametrize("kind", ["two channels", "one channel"])
def test_a_weak_magnet_has_its_number(kind):
    found = look(sensor(kind=kind, faults=(weak(7, 0.6),)))
    assert (found.weak.value, found.weak.sure) == ([7], True)
    assert found.missing.value == []
    assert "magnet 7 is weak or out of line" in _advice(found)


def test_a_healthy_ring_has_nothing_missing_and_nothing_weak():
    found = look(sensor())
    assert (found.missing.value, found.weak.value) == ([], [])
    assert (found.missing.sure, found.weak.sure, found.fit) == (True, True, True)


def test_a_magnet_far_out_of_place_is_named():
    errors = [0.0] * 12
    errors[4] = 5.0  # A sixth of the pitch of 30 degrees.
    found = look(sensor(pulses=12, errors_deg=tuple(errors)))
    assert "magnet 5 is 5.0° ahead of its place" in _advice(found)


def test_a_weak_magnet_of_a_part_that_is_low_over_its_magnets_is_found():
    recorded = record(sensor(faults=(weak(7, 0.6),)))
    chunks = [EdgeChunk(chunk.times_ns, chunk.levels ^ 3) for chunk in recorded.chunks]
    found = inspect_edges(lambda: iter(chunks), 2, Told((2.0, 10.0)))
    # What rises first now is the end of the first magnet's pulse, so magnet 7 is a low after a high.
    assert len(found.weak.value) == 1
    assert found.weak.value[0] in (6, 7)


def test_a_channel_that_is_dead_from_the_start_is_named():
    found = inspect_edges(record(sensor(faults=(FaultSpec("channel dead", channel="B"),))).source, 2, Told())
    assert (found.channels.dead, found.channels.number.value, found.fit) == ("B", 2, False)
    assert "channel B never changes, it stays low" in _advice(found)


def test_a_silent_input_is_right_only_where_the_bike_file_says_one_channel():
    recorded = record(sensor(faults=(FaultSpec("channel dead", channel="B"),)))
    assert inspect_edges(recorded.source, 2, Told()).fit is False
    found = inspect_edges(recorded.source, 2, Told(one_channel=True))
    assert (found.channels.number.value, found.fit) == (1, True)
    assert "as expected for a sensor with one channel" in _advice(found)


def test_a_channel_that_dies_on_the_way_is_named_with_the_time():
    chunk = record(sensor()).chunks[0]
    stopped = int(np.searchsorted(chunk.times_ns, 8_000_000_000))
    levels = chunk.levels.copy()
    levels[stopped:] = (levels[stopped:] & 2) | (levels[stopped] & 1)
    found = inspect_edges(lambda: iter([EdgeChunk(chunk.times_ns, levels)]), 2, Told())
    assert found.channels.dead == "A"
    assert found.channels.dead_since_s == pytest.approx(8.0, abs=0.1)


def test_wires_that_carry_the_same_are_told():
    chunk = record(sensor()).chunks[0]
    same = (chunk.levels & 1) * 3
    found = inspect_edges(lambda: iter([EdgeChunk(chunk.times_ns, same.astype(np.uint8))]), 2, Told())
    assert found.channels.same_signal is True
    assert "A and B change together" in _advice(found)


def test_two_channels_that_do_not_overlap_can_not_be_decoded_and_the_magnets_are_still_counted():
    found = look(sensor(duty_percent=20.0))
    assert (found.decodable.value, found.fit) == (False, False)
    assert found.pulses.value == 10
    assert "do not overlap" in _advice(found)
    # The board sees every pitch as a step forward and a step back.
    assert found.reversals > 500
    assert found.reversals_seen == 0


@pytest.mark.parametrize("duty_percent", [35.0, 65.0])
def test_a_duty_coded_channel_shows_itself_when_it_is_turned_back(duty_percent):
    found = look(sensor(kind="duty-coded", duty_percent=duty_percent, backward_s=10.0))
    assert (found.kind.value, found.kind.sure) == ("duty-coded", True)
    assert found.duty["A"].value == pytest.approx(duty_percent / 100.0, abs=0.02)
    assert found.reversals == 1


def test_a_channel_that_was_never_turned_back_may_be_duty_coded():
    found = look(sensor(kind="one channel", duty_percent=35.0))
    assert (found.kind.value, found.kind.sure) == ("one channel", False)
    assert "it may be duty-coded" in _advice(found)


def test_a_missing_magnet_does_not_make_a_channel_duty_coded():
    # The gap's high share is half of 65 %, near the 35 % that turning back would show.
    found = look(sensor(kind="one channel", duty_percent=65.0, faults=(missing(3),)))
    assert found.kind.value == "one channel"


def test_noise_and_refused_edges_have_a_rate():
    found = look(sensor(faults=(noise(20.0),)))
    assert found.noise_per_s == pytest.approx(20.0, abs=3.0)
    assert found.invalid_per_s > 5.0
    assert "noise pulses a second, enough for the board to report a noise fault" in _advice(found)
    assert look(sensor()).noise_per_s == 0.0


def test_bouncing_contacts_are_told():
    found = look(sensor(faults=(FaultSpec("bounce"),)))
    assert found.bounces is True
    assert "edges bounce" in _advice(found)


def test_reversals_and_both_counts_agree_with_the_crank():
    recorded = record(sensor(backward_s=10.0))
    found = look_at(recorded, sensor())
    assert found.reversals == found.reversals_seen == 1
    # Four edges a pitch, ten pitches a turn, forward minus backward.
    assert found.board.net == pytest.approx(40.0 * recorded.turns, abs=3.0)
    assert found.table.net == found.board.net
    assert found.agree is True


def test_cadence_is_that_of_the_legs_with_neither_magnets_nor_swing_in_it():
    cadence = look(sensor(rpm=60.0, wander=0.0, ripple=0.2)).cadence
    assert cadence.median == pytest.approx(60.0, abs=0.2)
    assert cadence.least == pytest.approx(60.0, abs=1.5)
    assert cadence.most == pytest.approx(60.0, abs=1.5)


def test_no_edges_at_all_are_told():
    still = EdgeChunk(np.zeros(1, np.int64), np.zeros(1, np.uint8))
    found = inspect_edges(lambda: iter([still]), 2, Told())
    assert (found.channels.number.value, found.kind.value, found.pulses.value) == (None, None, None)
    assert "no channel changes: turn the crank" in _advice(found)


def test_a_long_capture_keeps_its_first_edges_only_and_counts_all():
    recorded = record(sensor())
    gathered = gather(recorded.source, most_edges=300)
    whole = gather(recorded.source)
    assert (len(gathered.times_ns), gathered.whole, whole.whole) == (300, False, True)
    assert gathered.edges == whole.edges == sum(len(chunk.times_ns) for chunk in recorded.chunks)
    assert gathered.changes == whole.changes
    assert gathered.end_ns == whole.end_ns


def test_the_boards_count_goes_over_all_edges_also_of_a_long_capture(monkeypatch):
    turned = sensor()
    recorded = record(turned)
    whole = look_at(recorded, turned)
    monkeypatch.setattr("host_sim.capture.diagnose.gather", lambda source: gather(source, 700))
    found = look_at(recorded, turned)
    assert found.gathered.whole is False
    assert found.board.forward == whole.board.forward
    assert found.pulses.value == 10


def test_single_pitches_with_the_complement_do_not_make_a_channel_duty_coded():
    # One narrow magnet in six, 35 % beside 65 %: nobody turns back for one pitch in each turn.
    shares = np.tile([0.65] * 5 + [0.35], 12)
    nothing = np.full(len(shares), np.nan)
    once_a_turn = Stretch(0, 0.1 * np.arange(len(shares) + 1), 0.1 * shares, nothing, nothing, nothing)
    assert kind_of_one_channel([once_a_turn]).value == "one channel"
    turned_back = Stretch(0, once_a_turn.rises_s, 0.1 * np.sort(shares), nothing, nothing, nothing)
    assert kind_of_one_channel([turned_back]).value == "duty-coded"


def test_a_channel_of_noise_only_is_called_that():
    times = np.arange(0, 2_000_000_000, 400_000)
    levels = (np.arange(len(times)) % 2).astype(np.uint8)
    found = inspect_edges(lambda: iter([EdgeChunk(times, levels)]), 1, Told())
    assert found.pulses.value is None
    assert "only pulses too short for a magnet" in _advice(found)


def test_two_changes_of_either_channel_are_too_few_and_not_none():
    chunk = EdgeChunk(np.arange(5, dtype=np.int64) * 50_000_000, np.array([0, 1, 3, 2, 0], np.uint8))
    found = inspect_edges(lambda: iter([chunk]), 2, Told())
    assert "too few changes (A 2 times and B 2 times)" in _advice(found)
    assert "no channel changes" not in _advice(found)
