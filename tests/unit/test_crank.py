"""Crank edges to direction, pitch and runs: hand-timed edges, one at a time.

With 12 pulses the shortest pitch is 60 / (12 * 250) = 20 ms and a glitch lasts less than 1.25 ms.
"""

import pytest

from firmware.sense.crank import Crank
from host_sim.rig.rig import BEFORE_WRAP_US, WRAP_US
from host_sim.rig.small_int import SmallInt
from host_sim.rig.small_settings import settings_with

FORWARD = (1, 3, 2, 0)  # A leads: A, both, B, none (bit 0 is A).


class Turned:
    """A crank that is given edges at spans of time, and settled after each."""

    def __init__(self, **settings: int):
        self.crank = Crank(settings_with(**settings), SmallInt(BEFORE_WRAP_US))
        self.now_us = BEFORE_WRAP_US
        self.place = -1

    def edge(self, levels: int, span_us: int = 10_000, settled: bool = True) -> Crank:
        """Pass `span_us`, change to `levels`, and give the edge the time to last."""
        self.now_us = (self.now_us + span_us) % WRAP_US
        self.crank.begin_step()
        self.crank.edge(SmallInt(levels), SmallInt(self.now_us))
        if settled:
            self.crank.settle(SmallInt((self.now_us + 4_000) % WRAP_US))
        return self.crank

    def turn(self, edges: int, span_us: int = 10_000, ring: tuple = FORWARD) -> Crank:
        """Turn by `edges`, negative backward."""
        for _ in range(abs(edges)):
            self.place += 1 if edges > 0 else -1
            self.edge(ring[self.place % len(ring)], span_us)
        return self.crank

    def wait(self, span_us: int) -> Crank:
        self.now_us = (self.now_us + span_us) % WRAP_US
        self.crank.begin_step()
        self.crank.settle(SmallInt(self.now_us))
        return self.crank


def one_channel(**settings: int) -> Turned:
    return Turned(sensor_kind=1, **settings)


# Two channels.


def test_the_first_edge_tells_where_the_ring_stands_and_no_more():
    crank = Turned().turn(1)
    assert crank.levels == 1
    assert crank.forward_run == 0
    assert crank.backward_run == 0
    assert crank.rejected == 0
    assert not crank.ground_gained


def test_before_any_edge_nothing_is_gained_measured_or_high():
    crank = Turned().crank
    assert (crank.ground_gained, crank.pitch_measured, crank.levels) == (False, False, 0)


def test_a_first_edge_may_show_any_levels():
    for levels in range(4):
        crank = Turned().edge(levels)
        assert (crank.levels, crank.forward_run, crank.rejected) == (levels, 0, 0)


def test_forward_edges_make_a_run_and_gain_ground():
    turned = Turned()
    turned.turn(1)
    for run in range(1, 9):
        crank = turned.turn(1)
        assert crank.forward_run == run
        assert crank.ground_gained
        assert crank.last_forward_us == turned.now_us
        assert crank.backward_run == 0


def test_the_pitch_is_measured_between_edges_of_the_same_kind():
    turned = Turned()
    turned.turn(1)
    # Uneven edges, as duty and phase errors make them: 5, 20, 10, 25 ms, a pitch of 60.
    for number, span_us in enumerate((5_000, 20_000, 10_000, 25_000, 5_000, 20_000, 10_000, 25_000)):
        crank = turned.turn(1, span_us)
        assert crank.pitch_measured == (number >= 4)
        assert crank.pitch_us == (60_000 if number >= 4 else 0)
    assert crank.pitch_edge_us == turned.now_us


def test_a_pitch_straddles_the_wrap():
    turned = Turned()
    turned.now_us = WRAP_US - 25_000
    crank = turned.turn(6)
    assert turned.now_us == 35_000
    assert crank.pitch_us == 40_000


def test_backward_edges_make_a_run_and_end_the_other():
    turned = Turned()
    turned.turn(7)
    crank = turned.turn(-1)
    assert crank.forward_run == 0
    assert crank.backward_run == 1
    assert crank.pitch_us == 0
    assert not crank.ground_gained
    assert turned.turn(-2).backward_run == 3
    assert turned.turn(1).backward_run == 0


def test_what_was_gone_back_has_to_be_made_up_before_ground_is_gained():
    turned = Turned()
    turned.turn(7)
    turned.turn(-2)
    before_us = turned.crank.last_forward_us
    assert not turned.turn(1).ground_gained
    assert not turned.turn(1).ground_gained
    assert turned.crank.last_forward_us == before_us
    assert turned.turn(1).ground_gained


def test_no_more_than_one_pitch_has_to_be_made_up():
    turned = Turned()
    turned.turn(7)
    turned.turn(-20)
    assert not turned.turn(4).ground_gained
    assert turned.turn(1).ground_gained


@pytest.mark.parametrize(("before", "after"), [(0, 3), (3, 0), (1, 2), (2, 1)])
def test_a_double_change_is_counted_and_ends_the_runs(before, after):
    turned = Turned()
    turned.turn(4 + FORWARD.index(before) + 1)
    assert turned.crank.levels == before
    assert turned.crank.forward_run >= 4
    last_us = turned.crank.last_forward_us
    crank = turned.edge(after)
    assert crank.rejected == 1
    assert (crank.forward_run, crank.backward_run) == (0, 0)
    assert not crank.ground_gained
    assert crank.last_forward_us == last_us


def test_a_double_change_ends_a_backward_run_too():
    turned = Turned()
    turned.turn(7)
    turned.turn(-3)
    turned.edge(turned.crank.levels ^ 3)
    assert turned.crank.backward_run == 0


def test_turned_round_the_part_counts_the_other_way():
    # With two channels B follows A one way round and leads it the other: common practice, no source.
    turned = Turned(lead=1)
    turned.turn(4)
    assert turned.crank.backward_run == 3
    turned = Turned(lead=1)
    turned.turn(4, ring=(2, 3, 1, 0))
    assert turned.crank.forward_run == 3


# Noise.


def test_levels_that_do_not_last_are_counted_and_make_no_edge():
    turned = Turned()
    turned.turn(5)
    assert turned.crank.levels == 1
    turned.edge(3, settled=False)
    crank = turned.edge(1, 1_249)
    assert crank.rejected == 1
    assert (crank.levels, crank.forward_run) == (1, 4)


def test_levels_that_last_for_a_sixteenth_of_the_shortest_pitch_make_an_edge():
    turned = Turned()
    turned.turn(5)
    turned.edge(3, settled=False)
    crank = turned.edge(1, 1_250)
    assert crank.rejected == 0
    assert crank.backward_run == 1


def test_an_edge_waits_until_it_has_lasted():
    turned = Turned()
    turned.turn(5)
    turned.edge(3, settled=False)
    edge_us = turned.now_us
    assert turned.wait(1_249).forward_run == 4
    crank = turned.wait(1)
    assert crank.forward_run == 5
    assert crank.last_forward_us == edge_us  # Its own time, not the time it was believed.


def test_a_slope_that_reports_twice_is_one_edge():
    turned = Turned()
    turned.turn(5)
    turned.edge(3, settled=False)
    crank = turned.edge(3, 300)
    assert (crank.forward_run, crank.rejected) == (5, 0)
    assert turned.edge(3, 5_000).forward_run == 5


@pytest.mark.parametrize(("kind", "ring", "levels", "run"), [(0, FORWARD, 3, 5), (1, (1, 0), 0, 6)])
def test_an_edge_that_is_told_again_after_it_has_lasted_is_one_edge(kind, ring, levels, run):
    turned = Turned(sensor_kind=kind)
    turned.turn(5, ring=ring)
    turned.edge(levels, 20_000, settled=False)
    turned.edge(levels, 20_000, settled=False)  # The first telling is accepted here, the second is none.
    assert turned.edge(levels, 20_000).forward_run == run


def test_an_edge_that_another_replaces_at_once_is_noise_and_the_other_counts():
    turned = Turned()
    turned.turn(5)
    turned.edge(0, settled=False)
    crank = turned.edge(3, 500)
    assert crank.rejected == 1
    assert crank.forward_run == 5


def test_a_pitch_shorter_than_any_human_one_is_noise():
    turned = Turned()
    turned.turn(1)
    turned.turn(4, 5_000)  # A run of 4: from now on pitches are measured.
    crank = turned.turn(1, 4_999)
    assert crank.rejected == 1
    assert crank.forward_run == 0
    turned = Turned()
    turned.turn(1)
    turned.turn(4, 5_000)
    assert turned.turn(1, 5_000).pitch_us == 20_000


def test_after_noise_a_whole_pitch_has_to_be_made_up():
    turned = Turned()
    turned.turn(1)
    turned.turn(4, 5_000)
    turned.turn(1, 4_999)
    assert not turned.turn(4).ground_gained
    assert turned.turn(1).ground_gained


def test_the_counts_stop_or_wrap_far_from_any_limit():
    turned = Turned()
    turned.turn(1_100)
    assert turned.crank.forward_run == 1_000
    turned.turn(-1_100)
    assert turned.crank.backward_run == 1_000
    turned.crank.rejected = 65_535
    assert turned.edge(turned.crank.levels ^ 3).rejected == 0


def test_edges_on_one_channel_alone_are_counted():
    turned = Turned()
    turned.turn(4)
    assert turned.crank.one_sided_run == 0
    for number in range(1, 1_102):
        turned.edge(FORWARD[(3 + number % 2) % 4])
    # From levels 0: channel A alone, up and down; the first of them follows an edge of B.
    assert turned.crank.one_sided_run == 1_000
    turned.turn(2)
    assert turned.crank.one_sided_run <= 1


def test_the_first_edge_that_counts_on_one_channel_has_no_other_before_it():
    turned = Turned()
    assert [turned.edge(levels).one_sided_run for levels in (1, 0, 1, 0)] == [0, 0, 1, 2]


def test_a_rest_forgives_the_rocking_on_one_edge():
    turned = Turned()
    turned.turn(4)
    for number in range(21):
        turned.edge(number % 2 ^ 1)
    assert turned.crank.one_sided_run == 20
    assert turned.wait(916_667).one_sided_run == 0


# Standstill: 12 pulses at 12 rpm are 416.666 ms, and half a second on top.


def test_a_standstill_is_latched_after_the_release_pitch_and_half_a_second():
    turned = Turned()
    turned.turn(7)
    assert turned.crank.pitch_us == 40_000
    assert not turned.wait(916_666).standing
    crank = turned.wait(1)
    assert crank.standing
    assert (crank.forward_run, crank.backward_run, crank.pitch_us) == (0, 0, 0)


def test_a_standstill_ends_a_backward_run_and_what_was_to_be_made_up():
    turned = Turned()
    turned.turn(7)
    turned.turn(-6)
    crank = turned.wait(916_667)
    assert crank.backward_run == 0
    assert turned.turn(1).ground_gained
    assert not crank.standing


def test_at_power_up_only_a_quiet_crank_is_a_standing_one():
    turned = Turned()
    assert not turned.crank.standing
    assert not turned.wait(916_666).standing
    assert turned.wait(1).standing


def test_a_crank_that_stood_for_a_whole_wrap_is_still_standing():
    turned = Turned()
    turned.turn(7)
    for _ in range(4):
        turned.wait(268_435_000)
    assert turned.wait(2_000).standing


def test_a_pitch_is_never_measured_across_a_standstill():
    turned = Turned()
    turned.turn(7)
    turned.wait(1_000_000)
    assert turned.turn(4).pitch_us == 0
    assert turned.turn(1).pitch_us == 40_000


def test_forgetting_the_run_asks_for_a_new_one():
    turned = Turned()
    turned.turn(7)
    turned.crank.forget_run()
    assert turned.crank.forward_run == 0
    assert turned.turn(1).forward_run == 1


# One channel.


def test_one_channel_counts_every_edge_as_forward_and_knows_no_direction():
    # A one-wire sensor moves only one channel and does not tell the direction: common practice, no source.
    turned = one_channel()
    turned.turn(5, ring=(1, 0))
    assert turned.crank.forward_run == 5
    turned.turn(-5, ring=(1, 0))
    assert turned.crank.forward_run == 10
    assert turned.crank.backward_run == 0


def test_one_channel_measures_its_pitch_over_two_edges():
    turned = one_channel()
    turned.turn(1, ring=(1, 0))
    spans_us = (30_000, 10_000, 30_000)
    measured = [turned.turn(1, span_us, (1, 0)).pitch_us for span_us in spans_us]
    assert measured == [0, 40_000, 40_000]


def test_one_channel_ignores_the_other_wire():
    turned = one_channel()
    turned.turn(2, ring=(1, 0))
    crank = turned.edge(2)
    assert crank.forward_run == 2
    assert crank.levels == 0
    assert crank.one_sided_run == 0


def test_one_channel_on_wire_b_is_read_like_one_on_wire_a_and_wire_a_is_ignored():
    on_a, on_b = one_channel(), one_channel(lead=1)
    on_a.turn(7, 10_000, (1, 0))
    crank = on_b.turn(7, 10_000, (2, 0))
    assert (crank.forward_run, crank.pitch_us, crank.levels) == (7, 20_000, 1)
    assert (on_a.crank.forward_run, on_a.crank.pitch_us, on_a.crank.levels) == (7, 20_000, 1)
    on_b.edge(3)  # Wire A rises beside it.
    assert (crank.forward_run, crank.levels, crank.rejected) == (7, 1, 0)
    assert on_b.edge(1).forward_run == 8


def test_a_duty_coded_wire_on_b_tells_the_direction():
    for first_us, second_us, runs in ((28_000, 12_000, (2, 0)), (12_000, 28_000, (0, 2))):
        turned = Turned(sensor_kind=2, lead=1)
        turned.edge(2)
        turned.edge(0, first_us)
        crank = turned.edge(2, second_us)
        assert (crank.forward_run, crank.backward_run) == runs


def test_two_channels_with_b_in_the_lead_are_both_read():
    assert Turned(lead=1).turn(4, ring=(2, 3, 1, 0)).levels == 0
    assert Turned(lead=1).turn(3, ring=(2, 3, 1, 0)).levels == 1


def test_after_noise_one_channel_has_two_edges_to_make_up():
    turned = one_channel()
    turned.turn(3, 10_000, (1, 0))
    assert turned.turn(1, 9_999, (1, 0)).rejected == 1
    assert not turned.turn(2, 10_000, (1, 0)).ground_gained
    assert turned.turn(1, 10_000, (1, 0)).ground_gained


# Duty-coded: forward is the larger high share unless the setting says otherwise.


class Coded(Turned):
    """A duty-coded ring, given pitches as high and low times."""

    def __init__(self, **settings: int):
        super().__init__(sensor_kind=2, **settings)
        self.edge(1)

    def pitch(self, high_us: int, low_us: int) -> Crank:
        self.edge(0, high_us)
        return self.edge(1, low_us)


@pytest.mark.parametrize(
    ("forward_duty_high", "high_us", "low_us", "forward_run", "backward_run"),
    [
        (1, 28_000, 12_000, 2, 0),
        (1, 12_000, 28_000, 0, 2),
        (0, 28_000, 12_000, 0, 2),
        (0, 12_000, 28_000, 2, 0),
    ],
)
def test_the_high_share_of_a_pitch_tells_the_direction(
    forward_duty_high, high_us, low_us, forward_run, backward_run
):
    crank = Coded(forward_duty_high=forward_duty_high).pitch(high_us, low_us)
    assert (crank.forward_run, crank.backward_run) == (forward_run, backward_run)
    assert crank.ground_gained == (forward_run > 0)
    assert crank.pitch_us == (40_000 if forward_run else 0)
    assert crank.pitch_measured == (forward_run > 0)


def test_a_falling_edge_alone_tells_nothing():
    coded = Coded()
    crank = coded.edge(0, 28_000)
    assert (crank.forward_run, crank.ground_gained) == (0, False)


@pytest.mark.parametrize(
    ("high_us", "rejected"), [(22_500, 1), (22_501, 0), (17_500, 1), (17_499, 0), (20_000, 1)]
)
def test_a_share_within_a_sixteenth_of_one_half_tells_nothing(high_us, rejected):
    # Of 40 ms: the difference of high and low may be up to an eighth, 5 ms.
    coded = Coded()
    coded.pitch(28_000, 12_000)
    crank = coded.pitch(high_us, 40_000 - high_us)
    assert crank.rejected == rejected
    if rejected:
        assert (crank.forward_run, crank.backward_run, crank.ground_gained) == (0, 0, False)


@pytest.mark.parametrize(("low_us", "rejected"), [(4_999, 1), (5_000, 0)])
def test_a_coded_pitch_shorter_than_any_human_one_is_noise(low_us, rejected):
    crank = Coded().pitch(15_000, low_us)
    assert crank.rejected == rejected
    assert crank.forward_run == (0 if rejected else 2)


def test_going_backward_on_a_coded_ring_takes_two_edges_a_pitch_to_make_up():
    coded = Coded()
    coded.pitch(28_000, 12_000)
    assert coded.pitch(12_000, 28_000).backward_run == 2
    assert coded.pitch(12_000, 28_000).backward_run == 4
    assert not coded.pitch(28_000, 12_000).ground_gained
    assert not coded.pitch(28_000, 12_000).ground_gained
    assert coded.pitch(28_000, 12_000).ground_gained


def test_no_coded_pitch_is_measured_across_a_standstill():
    coded = Coded()
    coded.pitch(28_000, 12_000)
    coded.wait(1_000_000)
    coded.edge(0)
    crank = coded.edge(1)
    assert (crank.pitch_us, crank.forward_run, crank.rejected) == (0, 0, 0)
    assert coded.pitch(28_000, 12_000).forward_run == 2


def test_a_rise_without_a_fall_between_tells_nothing():
    # The fall was lost with an overrun of the log: the levels come as 1 and 1 with a time between.
    coded = Coded()
    coded.pitch(28_000, 12_000)
    coded.crank.levels = 0
    crank = coded.edge(1, 40_000)
    assert crank.rejected == 1
    assert crank.forward_run == 0


# What the ring decides.


@pytest.mark.parametrize(
    ("pulses", "shortest_us"), [(4, 60_000), (6, 40_000), (12, 20_000), (24, 10_000), (64, 3_750)]
)
def test_the_shortest_pitch_is_that_of_250_rpm(pulses, shortest_us):
    turned = Turned(pulses_per_rev=pulses)
    turned.turn(1, shortest_us // 4)
    turned.turn(4, shortest_us // 4)
    last_us = shortest_us - 3 * (shortest_us // 4)
    assert turned.turn(1, last_us).pitch_us == shortest_us
    turned = Turned(pulses_per_rev=pulses)
    turned.turn(1, shortest_us // 4)
    turned.turn(4, shortest_us // 4)
    assert turned.turn(1, last_us - 1).rejected == 1
