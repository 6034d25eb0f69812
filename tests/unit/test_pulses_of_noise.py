"""A pulse that comes again and again beside a still crank is no pedalling, on any single channel.

An eighth of a pitch is the limit: what is shorter, high or low, is noise. 12 pulses unless said, so no human
pitch is shorter than 20 ms and no glitch longer than 1.25 ms.
"""

import pytest

from firmware.settings import DUTY_CODED, ONE_CHANNEL
from firmware.ticks import ticks_diff_us
from host_sim.rig.rig import BEFORE_WRAP_US, WRAP_US, Rig
from host_sim.rig.small_settings import settings_with
from tests.quick_first import quick_first
from tests.unit.test_crank import Coded, one_channel
from tests.unit.test_output_guard import ASKED_MV, Gate

RING = (1, 0)
WIDTHS_US = (1_000, 2_000, 3_000)
RATES_HZ = (2, 5, 10, 20, 30, 40)


class Interfered(Rig):
    """A rig whose crank wire gets a pulse of `width_us`, `rate_hz` times a second, from now on."""

    def interfere(self, width_us: int, rate_hz: int) -> "Interfered":
        self.rpm = 0
        self.at_rest = self.ring.levels & 1
        self.next_us = self.elapsed_us + 7_000
        self.width_us, self.period_us = width_us, 1_000_000 // rate_hz
        self.pulsed = False
        return self

    def step(self, span_us: int = 5_000):
        while hasattr(self, "next_us") and self.next_us < self.elapsed_us + span_us:
            self.pulsed = not self.pulsed
            self.crank_edge(self.at_rest ^ self.pulsed, self.next_us - self.elapsed_us)
            self.next_us += self.width_us if self.pulsed else self.period_us - self.width_us
        return super().step(span_us)


def driven_ms(rig: Rig, span_ms: int) -> int:
    driven = 0
    for _ in range(span_ms // 5):
        rig.step()
        driven += 5 if rig.command_mv > 0 else 0
    return driven


SENSORS = [
    {"sensor_kind": ONE_CHANNEL},
    {"sensor_kind": DUTY_CODED, "forward_duty_high": 0},
    {"sensor_kind": DUTY_CODED, "forward_duty_high": 1},
]


@pytest.mark.parametrize("sensor", SENSORS)
@pytest.mark.parametrize("pulses", quick_first(1, [6, 12, 24]))
@pytest.mark.parametrize("at_rest", [0, 1])
def test_periodic_interference_beside_a_still_crank_drives_nothing(sensor, pulses, at_rest):
    for width_us in WIDTHS_US:
        for rate_hz in RATES_HZ:
            rig = Interfered(settings_with(pulses_per_rev=pulses, engage_edges=3, **sensor)).ready()
            rig.ring.levels = at_rest
            assert driven_ms(rig.interfere(width_us, rate_hz), 3_000) == 0, (width_us, rate_hz)


@pytest.mark.parametrize("sensor", quick_first(1, SENSORS))
def test_interference_after_a_ride_adds_a_pulse_to_the_stop_gap_at_most(sensor):
    for width_us in WIDTHS_US:
        for rate_hz in RATES_HZ:
            rig = Interfered(settings_with(**sensor)).ready()
            rig.run(2_500, rpm=60, wheel_mm_per_s=2_778)
            assert rig.command_mv > 0
            # 1.6 pitches of 83 ms, and what the first pulse adds before it is known for what it is.
            assert driven_ms(rig.interfere(width_us, rate_hz), 3_000) <= 133 + 5 + 133, (width_us, rate_hz)


# The limit of the crank, on a pitch of 40 ms: 5 ms.


def pulses_seen(*spans_us: int):
    """Return a one-channel crank after two even pulses of 20 ms and these."""
    turned = one_channel(pulses_per_rev=12)
    turned.turn(3, 20_000, RING)
    for span_us in spans_us:
        turned.turn(1, span_us, RING)
    return turned.crank


@pytest.mark.parametrize(
    ("pulse_us", "gained"), [(4_000, True), (3_333, True), (2_857, True), (2_856, False), (2_800, False)]
)
def test_a_pulse_of_under_an_eighth_of_its_pitch_gains_no_ground(pulse_us, gained):
    # The pitch is the 20 ms before and the pulse itself: 20 / 7 = 2.857 ms are an eighth of it.
    crank = pulses_seen(pulse_us)
    assert crank.ground_gained == gained
    assert crank.pitch_measured == gained
    assert crank.forward_run == (4 if gained else 3)
    assert crank.rejected == 0


@pytest.mark.parametrize(("pulse_us", "gained"), [(140_000, True), (140_007, True), (140_008, False)])
def test_a_pulse_of_over_seven_eighths_of_its_pitch_gains_no_ground(pulse_us, gained):
    assert pulses_seen(pulse_us).ground_gained == gained


def test_one_odd_pulse_is_passed_over_and_the_run_goes_on():
    # As when legs begin: 2 ms of a pitch of 22 ms, then 14 of 16 ms, which are just seven eighths.
    crank = pulses_seen(2_000, 14_000)
    assert not crank.pitch_measured  # 16 ms are quicker than any legs.
    crank = pulses_seen(2_800, 19_600)
    assert crank.ground_gained
    assert (crank.forward_run, crank.rejected) == (4, 0)
    assert crank.pitch_us == 22_400


def test_a_second_odd_pulse_in_a_row_is_noise_and_a_pitch_has_to_be_made_up():
    crank = pulses_seen(2_000, 98_000)
    assert (crank.forward_run, crank.rejected, crank._behind) == (0, 1, 2)
    crank = pulses_seen(2_000, 98_000, 2_000, 98_000, 2_000)
    assert (crank.forward_run, crank.rejected, crank._behind) == (2, 1, 0)
    assert not crank.ground_gained
    assert pulses_seen(2_000, 98_000, 20_000, 20_000, 20_000).ground_gained


def test_an_odd_pulse_long_ago_does_not_make_the_next_one_the_second():
    # Odd, good, odd: each is passed over.
    crank = pulses_seen(2_800, 19_600, 2_798)
    assert (crank.forward_run, crank.rejected) == (4, 0)
    assert not crank.ground_gained
    # Odd, then a new run of two, then odd.
    turned = one_channel(pulses_per_rev=12)
    turned.turn(3, 20_000, RING).forget_run()
    turned.turn(3, 20_000, RING)
    turned.turn(1, 2_000, RING).forget_run()
    turned.turn(2, 20_000, RING)
    assert turned.turn(1, 2_000, RING).rejected == 0


@pytest.mark.parametrize(
    ("high_us", "rejected"), [(34_999, 0), (35_000, 1), (39_000, 1), (5_001, 0), (5_000, 1), (1_300, 1)]
)
def test_a_coded_share_within_an_eighth_of_all_or_nothing_is_noise(high_us, rejected):
    coded = Coded()
    coded.pitch(28_000, 12_000)
    crank = coded.pitch(high_us, 40_000 - high_us)
    assert crank.rejected == rejected
    if rejected:
        assert (crank.forward_run, crank.backward_run, crank.ground_gained) == (0, 0, False)


# The guard sees the same by itself.


def seen(*spans_us: int, **settings: int) -> Gate:
    """Return a gate that has seen a rise after a second, and then an edge after each span."""
    gate = Gate(BEFORE_WRAP_US, sensor_kind=ONE_CHANNEL, **settings)
    gate.turn(1, 1_000_000, (0, 1))
    for span_us in spans_us:
        gate.turn(1, span_us, (0, 1))
    return gate


def test_the_guard_waits_for_a_pitch_of_one_channel():
    assert seen().permit() == 0
    assert seen(20_000).permit() == 0
    assert seen(20_000, 20_000).permit() == ASKED_MV


@pytest.mark.parametrize(
    ("spans_us", "permitted_mv"),
    [
        ((35_000, 5_000), ASKED_MV),
        ((35_001, 4_999), 0),
        ((5_000, 35_000), ASKED_MV),
        ((4_999, 35_001), 0),
    ],
)
def test_the_guard_takes_under_an_eighth_and_over_seven_for_noise(spans_us, permitted_mv):
    assert seen(*spans_us).permit() == permitted_mv


def test_for_the_guard_a_pulse_that_comes_again_and_again_never_turns_the_crank():
    gate = seen(*[2_000, 98_000] * 20)
    assert gate.permit() == 0
    assert gate.turn(1, 2_000, (0, 1)).permit() == 0


def test_the_guard_takes_back_what_vanishes_within_the_glitch_time():
    # A rise that bounces once, 1.249 ms after it: high again at 50 us later, as if nothing had been.
    bounced = seen(20_000, 20_000, 1_249, 50, 18_701, 20_000)
    assert bounced.permit() == ASKED_MV
    assert bounced.guard._fall_us == (bounced.now_us - 20_000) % WRAP_US
    assert bounced.guard._rise_us == bounced.now_us
    # The same after a fall.
    bounced = seen(20_000, 20_000, 20_000, 1_249, 50)
    assert bounced.guard._rise_us == (bounced.now_us - 21_299) % WRAP_US
    # What lasts for the glitch time is an edge.
    assert seen(20_000, 20_000, 1_250).guard._before_us != 0
    assert seen(20_000, 20_000, 20_000, 1_250).guard._rise_us == seen(20_000, 20_000, 20_000, 1_250).now_us


def test_a_ring_that_bounces_at_every_edge_is_not_cut_by_the_guard():
    gate = seen(*[20_000, 100, 100] * 2)
    for _ in range(20):
        gate = _bounced(gate)
        assert gate.permit() == ASKED_MV
        assert ticks_diff_us(gate.now_us, gate.guard._forward_us) <= 100


def _bounced(gate: Gate) -> Gate:
    return gate.turn(1, 19_800, (0, 1)).turn(1, 100, (0, 1)).turn(1, 100, (0, 1))


def test_the_first_edge_counts_for_the_guard_whatever_the_level_before_it():
    # A crank that stopped on a magnet begins with a fall; three edges make a pitch all the same.
    gate = Gate(sensor_kind=ONE_CHANNEL).turn(3, 20_000, (1, 0))
    assert gate.permit() == ASKED_MV


def test_the_first_two_edges_are_no_pitch_however_soon_after_the_start_they_come():
    assert Gate(sensor_kind=ONE_CHANNEL).turn(2, 20_000, (0, 1)).permit() == 0


def test_the_glitch_time_of_the_guard_is_a_sixteenth_of_the_shortest_pitch():
    # 7 pulses at 250 rpm: 34.29 ms, of it a sixteenth in whole microseconds is 2,142.
    for span_us, permitted_mv in ((2_142, ASKED_MV), (2_141, 0)):
        gate = Gate(sensor_kind=ONE_CHANNEL, pulses_per_rev=7).turn(2, 10_000, (0, 1))
        assert gate.turn(1, span_us, (0, 1)).permit() == permitted_mv


def test_levels_told_twice_are_one_edge_for_the_guard():
    gate = seen()
    rise_us = gate.guard._rise_us
    gate.wait(3_000).guard.crank_edge(1, gate.now_us)
    assert gate.guard._rise_us == rise_us
    gate = seen(20_000, 20_000)
    rise_us = gate.guard._rise_us
    gate.wait(3_000).guard.crank_edge(1, gate.now_us)
    assert gate.guard._rise_us == rise_us
    gate.wait(1_000).guard.crank_edge(3, gate.now_us)  # The other wire is nobody's.
    assert gate.guard._rise_us == rise_us


def test_after_a_rest_the_guard_waits_for_a_pitch_again():
    # 12 pulses at 12 rpm are 417 ms, and 15 ms more.
    gate = seen(20_000, 20_000)
    assert gate.wait(431_667).permit() == 0
    assert (gate.guard._rise_seen, gate.guard._fall_seen) == (False, False)
    assert gate.turn(1, 1_000, (0, 1)).permit() == 0
    assert gate.turn(1, 20_000, (0, 1)).permit() == 0
    assert gate.turn(1, 20_000, (0, 1)).permit() == ASKED_MV


def test_after_a_rest_a_single_edge_is_forgotten_too():
    gate = seen()
    gate.wait(431_667).permit()
    assert not gate.guard._rise_seen


@pytest.mark.parametrize(
    ("high_us", "low_us", "permitted_mv"),
    [(34_999, 5_001, ASKED_MV), (35_000, 5_000, 0), (39_000, 1_000, 0)],
)
@pytest.mark.parametrize("forward_duty_high", [0, 1])
def test_the_guard_takes_a_coded_pulse_of_under_an_eighth_for_noise(
    high_us, low_us, permitted_mv, forward_duty_high
):
    gate = Gate(sensor_kind=DUTY_CODED, forward_duty_high=forward_duty_high)
    gate.guard.crank_edge(1, gate.now_us)
    spans_us = (high_us, low_us) if forward_duty_high else (low_us, high_us)
    gate.wait(spans_us[0]).guard.crank_edge(0, gate.now_us)
    gate.wait(spans_us[1]).guard.crank_edge(1, gate.now_us)
    assert gate.permit() == permitted_mv


def test_a_coded_pulse_of_noise_that_would_be_backward_is_no_debt_for_the_guard():
    gate = Gate(sensor_kind=DUTY_CODED)
    gate.guard.crank_edge(1, gate.now_us)
    gate.wait(1_000).guard.crank_edge(0, gate.now_us)
    gate.wait(39_000).guard.crank_edge(1, gate.now_us)
    assert gate.guard._behind == 0
