"""Lesson 2 against a judge of its own: angles, times and two rules written down once more, no firmware."""

from dataclasses import dataclass
from math import pi

import numpy as np
import pytest

from host_sim.bench.edge_watch import EdgeWatch
from host_sim.lab.branching import ride_to
from host_sim.lab.lessons.thresholds import LESSON
from host_sim.lab.riding import ride
from host_sim.lab.teaching import teaching
from host_sim.lab.thresholds import bike_with_ring, check_thresholds, slow_lines, try_thresholds
from host_sim.lab.worst_stops import edges_ahead
from host_sim.report.samples import Samples

PULSES, EDGES, STOPS = (one.steps for one in LESSON.inputs)
LEGS_RAD_PER_S2 = 60.0  # How fast the bench's legs change their speed.
SLOW_RAD_PER_S = 32.0 * pi / 30.0


@dataclass(frozen=True, slots=True)
class Judged:
    """What hand-made kinematics say of a setting."""

    help_deg: float
    lapses: bool
    run_on_s: float

    def accepts(self, pulses):
        """Tell whether the three wishes are met, and the fourth: 16 magnets are the fewest that can."""
        return self.help_deg <= 100.0 and not self.lapses and self.run_on_s <= 0.2 and pulses <= 16


def _rises_rad(pulses, turns):
    """Return the crank's angles at which magnets come: once round a sine, and to either side in turn."""
    magnets = np.arange(pulses)
    error_deg = 2.0 * (0.75 * np.sin(2.0 * pi * magnets / pulses) + np.where(magnets % 2, 0.25, -0.25))
    once = 2.0 * pi * magnets / pulses + error_deg * pi / 180.0
    return np.concatenate([once + 2.0 * pi * turn for turn in range(turns)])


def judge(pulses, engage_edges, stop_percent):
    """Judge a setting from geometry and the clock alone."""
    pitch_rad = 2.0 * pi / pulses
    rises = _rises_rad(pulses, 8)
    # Riding slows down from 55 to 32 rpm within 0.8 s, then keeps that.
    clock_s = np.arange(0.0, 9.0, 0.0005)
    rpm = np.interp(clock_s, [0.0, 1.8, 2.6, 9.0], [55.0, 55.0, 32.0, 32.0])
    angle = np.cumsum(rpm * pi / 30.0) * 0.0005
    at_s = np.interp(rises, angle, clock_s)
    pitches_s = np.diff(at_s[rises < angle[-1]])
    gaps_s = stop_percent / 100.0 * pitches_s[:-1]
    release_s = 60.0 / (12.0 * pulses)  # The bike file's release cadence of 12 rpm.
    lapses = bool((pitches_s[1:] > np.minimum(gaps_s, release_s) + 0.001).any())
    # A pitch with both its ends gives two edges; the first end may be missed by almost a pitch.
    help_deg = (engage_edges / 2.0 + 1.0) * pitch_rad * 180.0 / pi
    return Judged(help_deg, lapses, _worst_run_on_s(rises, pitch_rad, stop_percent, release_s))


def _worst_run_on_s(rises, pitch_rad, stop_percent, release_s):
    """Return the longest help after the crank stands, of stops a millisecond apart over two turns."""
    speed, slowing = SLOW_RAD_PER_S, LEGS_RAD_PER_S2
    high_s = 0.65 * pitch_rad / speed
    worst_s = 0.0
    for begin in np.arange(rises[0] + 4.0 * pitch_rad, rises[0] + 4.0 * pi, speed * 0.001):
        rest = begin + speed**2 / (2.0 * slowing)
        rest_s = (begin / speed) + speed / slowing
        taken = rises[rises <= rest]

        def passed_s(angle, begin=begin, rest=rest, rest_s=rest_s):
            if angle <= begin:
                return angle / speed
            return rest_s - np.sqrt(2.0 * (rest - angle) / slowing)

        times = [passed_s(angle) for angle in taken[-4:]]
        pitch_s = times[-1] - times[-2]
        last_s = times[-1]
        # An edge tells its direction if its pitch was high for more than 9/16; else the one before counts.
        if pitch_s > high_s * 16.0 / 9.0 or pitch_s > stop_percent / 100.0 * (times[-2] - times[-3]):
            last_s, pitch_s = times[-2], times[-2] - times[-3]
        gap_s = min(stop_percent / 100.0 * pitch_s, release_s)
        worst_s = max(worst_s, last_s + gap_s - rest_s)
    return worst_s


def _agrees(pulses, engage_edges, stop_percent):
    judged = judge(pulses, engage_edges, stop_percent)
    tried = try_thresholds(pulses, engage_edges, stop_percent)
    check = check_thresholds(tried)
    assert check.solved == judged.accepts(pulses), (pulses, engage_edges, stop_percent, judged, check.words)
    return tried, judged


@pytest.mark.parametrize("stop_percent", [100, 120, 140, 160])
@pytest.mark.parametrize("pulses", [12, 16])
def test_lesson_2_accepts_what_the_judge_accepts_where_it_is_close(pulses, stop_percent):
    tried, judged = _agrees(pulses, 2, stop_percent)
    if not judged.lapses:
        # The firmware adds up to a control period of 5 ms, the motor's end another; ours is a grid of 1 ms.
        assert tried.run_on_s == pytest.approx(judged.run_on_s, abs=0.016)


@pytest.mark.parametrize(("pulses", "engage_edges"), [(8, 2), (16, 6), (16, 8), (12, 4), (20, 8)])
def test_the_first_help_of_lesson_2_comes_at_the_angle_that_the_ring_gives(pulses, engage_edges):
    tried, judged = _agrees(pulses, engage_edges, 140)
    # Four starts within a pitch: the worst of them lies within a quarter of a pitch of the worst of all.
    assert judged.help_deg - 0.3 * 360 / pulses < tried.help_deg < judged.help_deg + 8.0
    assert len(set(tried.helps_deg)) > 2


def test_help_that_lapses_for_good_has_lapsed():
    # A stop gap of a pitch ends help at the first late magnet, and six edges in a row never come again.
    tried, judged = _agrees(16, 6, 100)
    assert judged.lapses
    assert tried.lapses == 1


@pytest.mark.slow
@pytest.mark.parametrize("pulses", PULSES)
def test_lesson_2_accepts_exactly_the_right_settings_of_all_that_can_be_chosen(pulses):
    for engage_edges in EDGES:
        for stop_percent in STOPS:
            _agrees(pulses, engage_edges, stop_percent)


@pytest.mark.long
def test_only_16_magnets_can_be_right_of_those_that_lesson_2_offers():
    accepted = {
        (pulses, edges, stop)
        for pulses in PULSES
        for edges in EDGES
        for stop in STOPS
        if pulses <= 16 and edges <= 8 and judge(pulses, edges, stop).accepts(pulses)
    }
    assert accepted == {(16, edges, stop) for edges in (2, 4, 6) for stop in (120, 140)}
    for values in teaching(2).solutions:
        assert (values["pulses"], values["engage_edges"], values["stop_percent"]) in accepted


@pytest.mark.parametrize("stop_s", [6.4, 6.5])
def test_lesson_2_does_not_hang_on_the_moment_of_one_stop(stop_s):
    # A single stop at 6.40 s of 12 magnets ends soon; the worst stop doesn't.
    lines = [*slow_lines(), {"at_s": stop_s, "cadence_rpm": 0}]
    samples = ride(bike_with_ring(12, 2, 120), lines, stop_s + 1.0).samples
    driven = [at for at, volt in zip(samples.time_s, samples.command_v, strict=True) if volt > 0.0]
    tried = try_thresholds(12, 2, 120)
    assert driven[-1] - stop_s < tried.run_on_s
    assert not check_thresholds(tried).solved


def test_a_branch_of_a_ride_goes_on_to_the_last_digit_as_the_ride_itself_would():
    bike = bike_with_ring(8, 4, 140)
    trunk = ride_to(bike, slow_lines(), 5.0, [Samples()])
    other = trunk.copy()
    other.ride_on(5.7)  # What another branch does is nothing to this one: noise included.
    branch = trunk.copy()
    branch.ride_on(6.0)
    branch.stop_pedalling()
    branch.ride_on(7.0)
    whole = ride(bike, [*slow_lines(), {"at_s": 6.0, "cadence_rpm": 0}], 7.0).samples
    for name in ("time_s", "command_v", "power_w", "speed_km_per_h", "crank_deg", "state"):
        assert getattr(branch.watches[0], name) == getattr(whole, name), name
    assert len(trunk.watches[0].time_s) < 510


class _Seen(EdgeWatch):
    """The edges of channel A as they come in a ride."""

    def __init__(self):
        self.found = []

    def edge(self, time_us, levels):
        self.found.append((time_us * 1e-6, levels & 1 == 1))


def test_the_edges_told_ahead_are_those_that_the_ride_then_gives():
    branch = ride_to(bike_with_ring(12, 4, 140), slow_lines(), 6.2)
    ahead = edges_ahead(branch, 8.3)
    seen = _Seen()
    branch.world.watch_edges(seen)
    branch.ride_on(8.3)
    assert len(ahead) > 20
    assert [rises for _, rises in ahead] == [rises for _, rises in seen.found]
    assert [at for at, _ in ahead] == pytest.approx([at for at, _ in seen.found], abs=2e-6)


def test_more_magnets_help_sooner_and_let_go_sooner_and_a_longer_gap_runs_on():
    few, many = try_thresholds(8, 4, 160), try_thresholds(24, 4, 160)
    assert few.help_deg > 2 * many.help_deg
    assert few.run_on_s > 0.38
    assert many.run_on_s < 0.2
    short, long = try_thresholds(24, 4, 100), try_thresholds(24, 4, 200)
    assert short.lapses > 10
    assert long.lapses == 0
    assert short.run_on_s < long.run_on_s
    assert few.mean_run_on_s < 0.7 * few.run_on_s  # The mean of even stops says little about the worst.
    for more in (20, 32):
        assert (
            check_thresholds(try_thresholds(more, 2, 160)).words
            == "Not yet: fewer magnets can meet the targets too."
        )
