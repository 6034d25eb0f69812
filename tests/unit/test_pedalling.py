"""Engage, release and the stop gap, the least of three times, by hand.

A 12-pulse ring at 12 rpm: pitch 60 / (12 * 12) = 416.67 ms.
"""

import pytest

from firmware.decide.pedalling import Pedalling
from firmware.sense.crank import Crank
from host_sim.rig.rig import Rig
from host_sim.rig.small_int import SmallInt
from host_sim.rig.small_settings import settings_with


class Told:
    """A Pedalling with given readings of the crank."""

    def __init__(self, **settings: int):
        made = settings_with(**settings)
        self.pedalling = Pedalling(made)
        self.crank = Crank(made, SmallInt(0))
        self.now_us = 0

    def step(self, span_us: int = 5_000, speed_mm_per_s: int = 0, **facts: int) -> Pedalling:
        self.now_us += span_us
        for name, value in facts.items():
            setattr(self.crank, name, SmallInt(value) if not isinstance(value, bool) else value)
        self.pedalling.step(self.crank, SmallInt(speed_mm_per_s), SmallInt(self.now_us))
        self.crank.begin_step()
        return self.pedalling

    def progress(self, pitch_us: int = 100_000, run: int = 8, speed_mm_per_s: int = 0) -> Pedalling:
        """Gain ground now, with a pitch measured now."""
        now_us = self.now_us + 5_000
        return self.step(
            speed_mm_per_s=speed_mm_per_s,
            forward_run=run,
            ground_gained=True,
            last_forward_us=now_us,
            pitch_us=pitch_us,
            pitch_edge_us=now_us,
            pitch_measured=True,
        )


def test_at_first_the_crank_is_stopped():
    pedalling = Told().pedalling
    assert pedalling.stopped
    assert pedalling.slow
    assert not pedalling.engages
    assert not pedalling.backward
    assert pedalling.cadence_rpm == 0


# The stop gap.


def test_a_stop_gap_a_is_the_pitch_at_the_release_cadence():
    # 416_666 us in tens: 41_666 * 1000 / 100.
    assert Told().step().stop_gap_us == 416_660


def test_the_plain_threshold_of_12_pulses_at_17_rpm_is_294_ms():
    # 60 / (pulses x release rpm): common practice, no source.
    assert Told(release_rpm=17).step().stop_gap_us == 294_110


@pytest.mark.parametrize(
    ("pulses", "gap_us"), [(4, 1_250_000), (8, 625_000), (12, 416_660), (24, 208_330), (64, 78_120)]
)
def test_more_magnets_answer_sooner(pulses, gap_us):
    # Common practice, no source: a finer ring sees the stop earlier.
    assert Told(pulses_per_rev=pulses).step().stop_gap_us == gap_us


def test_edges_known_to_be_closer_than_a_pitch_shorten_gap_a_but_not_on_a_coded_ring():
    assert Told(edge_gap_permille=250).step().stop_gap_us == 104_165
    assert Told(edge_gap_permille=250, sensor_kind=1).step().stop_gap_us == 104_165
    assert Told(edge_gap_permille=250, sensor_kind=2).step().stop_gap_us == 416_660


def test_b_stop_gap_b_is_a_multiple_of_the_pitch_just_measured():
    told = Told()
    # 80 rpm on 12 pulses: a pitch of 62.5 ms, times 1.6.
    assert told.progress(pitch_us=62_500).stop_gap_us == 100_000
    assert told.progress(pitch_us=300_000).stop_gap_us == 416_660  # (a) is less than 480 ms.


@pytest.mark.parametrize(
    ("speed_mm_per_s", "lag_ms", "gap_us"),
    # 2 m at 25 km/h (6944 mm/s) is 0.288 s; 2 m by EN 15194:2017 4.2.13.1 b, by the parallel text
    # TBIS 15194:2019. Less 60 ms of lag and a control period of 5 ms: 223 ms.
    [(6_944, 60, 223_000), (6_944, 0, 283_000), (2_778, 300, 414_000), (0, 60, 416_660), (1, 60, 416_660)],
)
def test_c_stop_gap_c_is_what_the_cut_off_distance_leaves(speed_mm_per_s, lag_ms, gap_us):
    assert Told(motor_lag_ms=lag_ms).step(speed_mm_per_s=speed_mm_per_s).stop_gap_us == gap_us


def test_the_time_of_the_cut_off_distance_never_falls_below_nothing():
    assert Told(cutoff_distance_mm=500, motor_lag_ms=300).step(speed_mm_per_s=6_944).stop_gap_us == 0


@pytest.mark.parametrize(("lag_ms", "gap_us"), [(281, 2_000), (282, 1_000), (283, 0)])
def test_the_last_millisecond_that_the_cut_off_distance_leaves_is_used(lag_ms, gap_us):
    # 2_000_000 / 6_944 is 288 ms, of which a control period takes 5.
    assert Told(motor_lag_ms=lag_ms).step(speed_mm_per_s=6_944).stop_gap_us == gap_us


def test_a_distance_that_leaves_hardly_less_than_the_release_gap_shortens_it():
    # 2_000_000 / 5_571 is 359 ms, less 60 and 5: 294 ms, where the release gap is 294.11 ms.
    assert Told(release_rpm=17).step(speed_mm_per_s=5_571).stop_gap_us == 294_000


# Stopped.


def test_a_stop_is_seen_one_microsecond_after_the_gap_and_asks_for_a_new_run():
    told = Told()
    told.progress(pitch_us=62_500)
    assert not told.step(100_000).stopped
    assert told.crank.forward_run == 8
    assert told.step(1).stopped
    assert told.crank.forward_run == 0


def test_a_stop_is_latched_and_no_old_stamp_wakes_it():
    told = Told()
    told.progress()
    assert told.step(1_000_000).stopped
    told.crank.last_forward_us = SmallInt(told.now_us)  # As after a whole wrap.
    assert told.step(1).stopped
    assert not told.progress().stopped


# Engage.


@pytest.mark.parametrize(("run", "engages"), [(7, False), (8, True), (9, True)])
def test_engaging_asks_for_a_run_of_edges(run, engages):
    assert Told().progress(run=run).engages == engages


@pytest.mark.parametrize(("pitch_us", "engages"), [(250_000, True), (250_009, True), (250_010, False)])
def test_engaging_asks_for_a_cadence_of_20_rpm(pitch_us, engages):
    # 60 / (12 * 20) = 250 ms a pitch; resolved in tens of microseconds.
    pedalling = Told().progress(pitch_us=pitch_us)
    assert pedalling.engages == engages
    assert pedalling.cadence_rpm == (20 if engages else 19)


@pytest.mark.parametrize(("speed_mm_per_s", "engages"), [(832, False), (833, True), (834, True)])
def test_engaging_may_ask_for_a_speed(speed_mm_per_s, engages):
    # No engagement below 3 km/h (833 mm/s): B.C. Reg. 151/2002.
    told = Told(engage_speed_mm_per_s=833)
    assert told.progress(speed_mm_per_s=speed_mm_per_s).engages == engages


def test_nothing_engages_while_stopped():
    told = Told()
    told.progress()
    assert told.step(500_000).stopped
    # A run and a fresh pitch over ground gone over before: no progress.
    now_us = told.now_us + 5_000
    fresh = {"pitch_us": 100_000, "pitch_edge_us": now_us, "pitch_measured": True}
    pedalling = told.step(forward_run=8, **fresh)
    assert pedalling.cadence_rpm == 50
    assert pedalling.stopped
    assert not pedalling.engages
    assert told.progress(run=8).engages


def test_a_new_run_is_asked_for_once_at_the_stop_and_may_grow_while_stopped():
    told = Told()
    told.progress()
    told.step(500_000)
    assert told.crank.forward_run == 0
    told.step(forward_run=3)
    assert told.crank.forward_run == 3


# Slow and backward.


@pytest.mark.parametrize(("pitch_us", "slow"), [(416_660, False), (416_666, False), (416_670, True)])
def test_slow_is_below_the_release_cadence(pitch_us, slow):
    assert Told().progress(pitch_us=pitch_us).slow == slow


def test_the_cadence_decays_between_pitches_and_is_zero_without_one():
    told = Told()
    assert told.progress(pitch_us=100_000).cadence_rpm == 50
    assert told.step(200_000).cadence_rpm == 25
    assert told.step(1, pitch_us=0).cadence_rpm == 0


def test_only_a_fresh_pitch_renews_the_cadence():
    told = Told()
    told.progress(pitch_us=100_000)
    assert told.step(200_000, pitch_us=50_000).cadence_rpm == 25
    assert told.progress(pitch_us=50_000).cadence_rpm == 100


@pytest.mark.parametrize(("run", "backward"), [(0, False), (1, False), (2, True), (3, True)])
def test_backward_is_a_run_of_backward_edges(run, backward):
    assert Told().step(backward_run=run).backward == backward


# The whole sensing part, on an ideal ring.


@pytest.mark.parametrize(("rpm", "at_most_ms"), [(30, 280), (60, 145), (80, 110), (100, 90)])
def test_a_stop_at_a_quick_cadence_is_seen_within_about_one_pitch(rpm, at_most_ms):
    # 1.6 pitches of 60 / (12 rpm) s, and one control period.
    rig = Rig().ready()
    rig.run(2_000, rpm=rpm)
    assert rig.command_mv > 0
    rig.rpm = 0
    assert rig.until(lambda rig: rig.command_mv == 0, 1_000) <= at_most_ms
