"""The number of magnets in a turn comes from their pattern, never from the legs'."""

import numpy as np
import pytest

from host_sim.capture.angles import Angles
from host_sim.capture.pattern import Pattern, find_pattern
from host_sim.capture.pulses import counted_between, seen_a_turn, turns_needed
from tests.capture.looking import look, missing, noise, sensor

NAN = np.full(1, np.nan)


def _angles(pitches):
    """Return pitches of one channel, of which nothing else is known."""
    nothing = np.full(len(pitches), np.nan)
    return Angles(np.asarray(pitches), nothing, nothing, np.nan, nothing, False)


def _swings(count, magnets, swings_a_turn, size, seed=1, noise_size=0.002):
    angle = 2 * np.pi * np.arange(count) / magnets
    jitter = np.random.default_rng(seed).normal(0.0, noise_size, count)
    return np.exp(size * np.sin(swings_a_turn * angle) + jitter)


@pytest.mark.parametrize("magnets", [8, 12, 16, 24, 32])
def test_two_torque_peaks_a_turn_are_not_taken_for_half_the_magnets(magnets):
    found = find_pattern([_angles(_swings(30 * magnets, magnets, 2, 0.15))])
    assert found.magnets == 0
    assert found.guess == magnets


def test_a_hand_that_swings_once_a_turn_is_not_taken_for_a_ring():
    assert find_pattern([_angles(_swings(400, 20, 1, 0.1))]).magnets == 0


def test_magnets_in_pairs_tell_no_turn():
    pairs = np.exp(0.03 * np.cos(np.pi * np.arange(400)))
    both = pairs * _swings(400, 16, 2, 0.1)
    assert find_pattern([_angles(pairs * _swings(400, 16, 2, 0.0))]).magnets == 0
    assert find_pattern([_angles(both)]).magnets == 0


@pytest.mark.parametrize("kind", ["two channels", "one channel"])
@pytest.mark.parametrize("pulses", [7, 10, 16, 32])
def test_uneven_magnets_tell_the_turn_through_the_legs_swing(kind, pulses):
    found = look(sensor(kind=kind, pulses=pulses, ripple=0.15))
    assert found.pulses.value == pulses
    assert found.pulses.sure


def test_four_uneven_magnets_are_told_with_two_channels_and_guessed_with_one():
    two = look(sensor(pulses=4))
    one = look(sensor(pulses=4, kind="one channel"))
    assert (two.pulses.value, two.pulses.sure) == (4, True)
    assert one.pulses.sure is False


@pytest.mark.parametrize("kind", ["two channels", "one channel"])
def test_a_perfectly_even_ring_can_not_be_told(kind):
    found = look(sensor(kind=kind, errors_deg=()))
    assert found.pulses.sure is False
    assert found.pulses.confidence == 0.6  # The legs' two peaks suggest it, and they are right here.
    assert found.pulses.value == 10


@pytest.mark.parametrize("kind", ["two channels", "one channel"])
def test_a_perfectly_even_ring_is_told_by_counted_turns(kind):
    turned = sensor(kind=kind, errors_deg=())
    found = look(turned, turns=29.95)
    assert (found.pulses.value, found.pulses.sure) == (10, True)


def test_a_missing_magnet_counts_as_a_pulse():
    for kind in ("two channels", "one channel"):
        found = look(sensor(kind=kind, errors_deg=(), faults=(missing(4),)))
        assert (found.pulses.value, found.pulses.sure) == (10, True)


def test_a_few_turns_are_not_enough():
    assert look(sensor(seconds=2.5, rpm=60.0), forward_s=None).pulses.sure is False


def test_noise_that_is_no_pattern_tells_nothing():
    for seed in range(20):
        random = np.exp(np.random.default_rng(seed).normal(0.0, 0.05, 300))
        assert find_pattern([_angles(random)]).magnets == 0


def test_stops_in_between_do_not_spoil_the_pattern():
    pattern = np.exp(0.05 * np.random.default_rng(5).normal(size=11))
    whole = np.tile(pattern, 40) * _swings(440, 11, 2, 0.1)
    pieces = [_angles(whole[start : start + 97]) for start in (0, 103, 205, 317)]
    assert find_pattern(pieces).magnets == 11


def test_counted_turns_leave_the_numbers_that_fit():
    # 100 rises in 10 turns, one pulse and a tenth of a turn off at most: 99 / 10.1 to 101 / 9.9.
    assert counted_between(100, 10.0) == (pytest.approx(9.802, abs=1e-3), pytest.approx(10.202, abs=1e-3))
    assert seen_a_turn(Pattern(0, 0.0, 0), 100, 10.0).magnets == 10
    # In 2 turns, 32 magnets look like 31 or 33.
    assert seen_a_turn(Pattern(0, 0.0, 0), 64, 2.0).confidence < 0.9
    assert turns_needed(10.0) == 4
    assert turns_needed(32.0) == 9


def test_a_count_that_contradicts_the_pattern_makes_both_doubtful():
    pattern = Pattern(10, 0.97, 10)
    assert seen_a_turn(pattern, 300, 30.0).confidence == 0.99
    assert seen_a_turn(pattern, 300, 25.0).confidence == 0.5


def test_noise_does_not_hide_the_turn():
    found = look(sensor(faults=(noise(20.0),), seconds=40.0))
    assert (found.pulses.value, found.pulses.sure) == (10, True)


def test_a_cadence_that_wanders_without_legs_gives_no_guess():
    for seed in range(10):
        wander = np.cumsum(np.random.default_rng(seed).normal(0.0, 0.01, 500))
        assert find_pattern([_angles(np.exp(wander))]).guess == 0
