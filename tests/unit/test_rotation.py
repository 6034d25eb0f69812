"""From the time between pulses to a rate that decays, stands still and never wakes by itself."""

import pytest

from firmware.sense.rotation import Rotation, Wheel
from host_sim.rig.rig import BEFORE_WRAP_US, WRAP_US
from host_sim.rig.small_int import SmallInt

CIRCUMFERENCE_MM = 2_100
STILL_US = 3_000_000


def later(now_us: int, span_us: int) -> SmallInt:
    return SmallInt((now_us + span_us) % WRAP_US)


def cadence(pulses: int = 12) -> Rotation:
    # rpm times tens of microseconds: 6_000_000 tens of microseconds are a minute.
    return Rotation(SmallInt(6_000_000 // pulses), SmallInt(1_000_000))


@pytest.mark.parametrize(
    ("pulses", "period_us", "rpm"),
    # Pulse periods in ms at 30, 60 and 90 rpm, from N pulses: 60 / (N n); computed.
    [(8, 250_000, 30), (12, 83_333, 60), (12, 166_667, 30), (24, 27_778, 90), (32, 62_500, 30)],
)
def test_a_period_gives_the_cadence(pulses, period_us, rpm):
    rotation = cadence(pulses)
    rotation.update(SmallInt(period_us), SmallInt(BEFORE_WRAP_US))
    assert rotation.rate(SmallInt(BEFORE_WRAP_US)) == rpm


def test_before_the_first_period_the_rate_is_zero():
    assert cadence().rate(SmallInt(5)) == 0
    assert cadence().standing


def test_the_rate_decays_once_the_wait_is_longer_than_the_period():
    rotation = cadence()
    rotation.update(SmallInt(100_000), SmallInt(BEFORE_WRAP_US))
    assert rotation.rate(later(BEFORE_WRAP_US, 99_999)) == 50
    assert rotation.rate(later(BEFORE_WRAP_US, 100_000)) == 50
    assert rotation.rate(later(BEFORE_WRAP_US, 200_000)) == 25
    assert rotation.rate(later(BEFORE_WRAP_US, 500_000)) == 10
    assert rotation.rate(later(BEFORE_WRAP_US, 1_000_000)) == 5


def test_a_standstill_is_latched_and_no_old_stamp_wakes_it():
    rotation = cadence()
    rotation.update(SmallInt(100_000), SmallInt(0))
    assert rotation.rate(SmallInt(1_000_000)) == 5
    assert not rotation.standing
    assert rotation.rate(SmallInt(1_000_001)) == 0
    assert rotation.standing
    assert rotation.rate(SmallInt(50)) == 0  # One whole wrap later the stamp would look recent.


def test_stand_forgets_at_once():
    rotation = cadence()
    rotation.update(SmallInt(100_000), SmallInt(0))
    rotation.stand()
    assert rotation.rate(SmallInt(10)) == 0


def test_an_edge_stamped_after_now_is_no_older_than_none():
    rotation = cadence()
    rotation.update(SmallInt(100_000), SmallInt(1_000))
    assert rotation.rate(SmallInt(900)) == 50


class Ridden:
    """A wheel that gets whole turns."""

    def __init__(self, pulses: int = 1, circumference_mm: int = CIRCUMFERENCE_MM):
        self.wheel = Wheel(SmallInt(circumference_mm), SmallInt(pulses))
        self.now_us = BEFORE_WRAP_US

    def pulse_after(self, span_us: int) -> int:
        self.now_us = (self.now_us + span_us) % WRAP_US
        self.wheel.begin_step()
        self.wheel.edge(SmallInt(1), SmallInt(self.now_us))
        self.wheel.settle(SmallInt(self.now_us))
        return self.wheel.speed_mm_per_s

    def wait(self, span_us: int) -> int:
        self.now_us = (self.now_us + span_us) % WRAP_US
        self.wheel.begin_step()
        self.wheel.settle(SmallInt(self.now_us))
        return self.wheel.speed_mm_per_s


def test_the_speed_of_a_2100_mm_wheel():
    ridden = Ridden()
    assert ridden.pulse_after(10) == 0  # One pulse is no period.
    # 25 km/h is 6944 mm/s: 2100 / 6.944 = 302.4 ms a turn.
    assert ridden.pulse_after(302_400) == 6_944
    assert ridden.pulse_after(1_000_000) == 2_100
    assert ridden.pulse_after(500_000) == 4_200


def test_more_pulses_a_turn_give_the_same_speed():
    ridden = Ridden(pulses=20)
    ridden.pulse_after(10)
    assert ridden.pulse_after(15_120) == 6_944


def test_only_rising_edges_count():
    ridden = Ridden()
    ridden.pulse_after(10)
    ridden.wheel.begin_step()
    ridden.wheel.edge(SmallInt(0), SmallInt(ridden.now_us))
    assert not ridden.wheel.pulsed
    assert ridden.pulse_after(1_000_000) == 2_100


def test_a_pulse_faster_than_100_km_per_h_is_a_bounce_and_moves_nothing():
    # 27_778 mm/s: 2100 mm take 75.6 ms; 210_000_000 // 27_778 = 7559, so 75.59 ms.
    ridden = Ridden()
    ridden.pulse_after(10)
    ridden.pulse_after(500_000)
    ridden.wheel.begin_step()
    ridden.wheel.edge(SmallInt(1), later(ridden.now_us, 75_589))
    assert not ridden.wheel.pulsed
    ridden.wheel.edge(SmallInt(1), later(ridden.now_us, 75_590))
    assert ridden.wheel.pulsed
    ridden.now_us = int(later(ridden.now_us, 75_590))
    assert ridden.pulse_after(500_000) == 4_200


def test_pulsed_lasts_for_one_step():
    ridden = Ridden()
    ridden.pulse_after(10)
    assert ridden.wheel.pulsed
    ridden.wait(5_000)
    assert not ridden.wheel.pulsed


def test_three_seconds_without_a_pulse_are_a_standstill_and_the_next_pulse_starts_afresh():
    ridden = Ridden()
    ridden.pulse_after(10)
    ridden.pulse_after(500_000)
    assert ridden.wait(1_000_000) == 2_100
    assert ridden.wait(2_000_000) == 700
    assert ridden.wait(1) == 0
    assert ridden.pulse_after(STILL_US) == 0
    assert ridden.pulse_after(500_000) == 4_200


def test_after_a_whole_wrap_at_rest_one_pulse_is_still_no_speed():
    ridden = Ridden()
    ridden.pulse_after(10)
    ridden.pulse_after(500_000)
    for _ in range(4):
        ridden.wait(268_435_000)
    assert ridden.wait(3_000) == 0
    assert ridden.pulse_after(500_000) == 0


def test_the_slowest_wheel_that_still_runs_is_one_turn_in_three_seconds():
    ridden = Ridden()
    ridden.pulse_after(10)
    assert ridden.pulse_after(2_999_999) == 700
    assert Ridden().wait(10) == 0


@pytest.mark.parametrize(("wait_us", "speed_mm_per_s"), [(STILL_US, 2_100), (STILL_US + 1, 0)])
def test_a_wheel_that_waited_for_exactly_three_seconds_still_runs(wait_us, speed_mm_per_s):
    wheel = Wheel(CIRCUMFERENCE_MM, 1)
    wheel.edge(SmallInt(1), SmallInt(BEFORE_WRAP_US))
    wheel.settle(later(BEFORE_WRAP_US, wait_us))
    wheel.edge(SmallInt(1), later(BEFORE_WRAP_US, wait_us + 1_000_000))
    wheel.settle(later(BEFORE_WRAP_US, wait_us + 1_000_000))
    # A turn in 4 s is measured only by a wheel that was still taken to run.
    assert (wheel.speed_mm_per_s > 0) == (speed_mm_per_s > 0)


def test_a_wheel_that_never_turned_has_no_speed_and_no_pulse():
    wheel = Wheel(CIRCUMFERENCE_MM, 1)
    assert (wheel.speed_mm_per_s, wheel.pulsed) == (0, False)


# How well the speed is known. 2100 mm between pulses; speeds in mm/s.


def rolled(*periods_us: int, pulses: int = 1) -> Ridden:
    """Return a wheel after a first pulse and these periods."""
    ridden = Ridden(pulses)
    ridden.pulse_after(10)
    for period_us in periods_us:
        ridden.pulse_after(period_us)
    return ridden


def test_before_a_period_the_speed_may_be_off_by_what_two_pulses_can_hide():
    # v^2 = 2 a s with 2 m/s^2 over twice 2.1 m: 4.0988 m/s; over twice 0.105 m: 0.9165 m/s.
    assert Ridden().wheel.late_mm_per_s == 4_098
    assert rolled().wheel.late_mm_per_s == 4_098
    assert Ridden(pulses=20).wheel.late_mm_per_s == 916


@pytest.mark.parametrize(
    ("periods_us", "late_mm_per_s"),
    [
        # 4200 after 0: a period and a half, 0.75 s, at 2 m/s^2.
        ((500_000,), 1_500),
        # The same again: a sixteenth of 4200.
        ((500_000, 500_000), 262),
        # 4200, then 4000: twice the change and a sixteenth of 4000. The same from below.
        ((500_000, 525_000), 650),
        ((525_000, 500_000), 662),
        # 700 after 0: twice as much and a sixteenth, 43.
        ((2_999_999,), 1_443),
        # 4200, then 700 after 3 s: no more than what two pulses can hide.
        ((500_000, 2_999_999), 4_098),
        # Twice 2100: a sixteenth, 131. 3 s and a half would be 9 m/s.
        ((1_000_000, 1_000_000), 131),
        # 21,000 and a tenth more: 3 periods of 50 ms, 0.15 s at 2 m/s^2.
        ((100_000, 110_000), 330),
    ],
)
def test_the_speed_may_be_off_by_the_least_of_three(periods_us, late_mm_per_s):
    assert rolled(*periods_us).wheel.late_mm_per_s == late_mm_per_s


def test_a_period_of_any_length_is_a_small_integer():
    wheel = Wheel(SmallInt(3_000), SmallInt(1))
    for time_us in (0, 2**29 - 1, 2**29 + 499_999):
        wheel.edge(SmallInt(1), SmallInt(time_us))
    assert wheel.late_mm_per_s == 1_500  # Half a second, after as good as none.


@pytest.mark.parametrize(
    ("period_us", "steady"),
    # An eighth of 400 ms is 50 ms.
    [(349_999, False), (350_000, True), (400_000, True), (450_000, True), (450_001, False)],
)
def test_two_periods_agree_within_an_eighth(period_us, steady):
    assert rolled(400_000, period_us).wheel.steady is steady


def test_at_first_nothing_is_steady_or_overdue():
    wheel = Ridden().wheel
    assert (wheel.steady, wheel.overdue, wheel.pulsed) == (False, False, False)


def test_one_period_agrees_with_nothing():
    assert not rolled(400_000).wheel.steady
    assert rolled(400_000, 400_000).wheel.steady
    # Nor does the first one after a standstill.
    ridden = rolled(400_000, 400_000)
    ridden.wait(STILL_US + 1)
    assert not ridden.wheel.steady
    ridden.pulse_after(10)
    ridden.pulse_after(400_000)
    assert not ridden.wheel.steady


def test_a_standstill_makes_the_speed_as_uncertain_as_at_first():
    ridden = rolled(500_000, 500_000)
    ridden.wait(STILL_US)
    assert ridden.wheel.late_mm_per_s == 262
    ridden.wait(1)
    assert ridden.wheel.late_mm_per_s == 4_098
    ridden.pulse_after(10)
    ridden.pulse_after(500_000)
    assert ridden.wheel.late_mm_per_s == 1_500


# A pulse that is overdue: v^2 = 2 a s with 10 m/s^2 over 2.1 m is 6.4807 m/s.


@pytest.mark.parametrize(
    ("period_us", "wait_us", "overdue"),
    [
        # 302.4 ms are 6944. A wait of 604.83 ms still allows half of it, 3472; one of 604.84 ms does not.
        (302_400, 604_830, False),
        (302_400, 604_840, True),
        # 324.02 ms are 6481, 324.03 ms 6480.
        (324_020, 1_000_000, True),
        (324_030, 1_000_000, False),
        (324_030, 3_000_001, False),
    ],
)
def test_a_pulse_is_overdue_where_no_brake_could_have_made_it_so_late(period_us, wait_us, overdue):
    ridden = rolled(period_us, period_us)
    assert not ridden.wheel.overdue
    ridden.wait(wait_us)
    assert ridden.wheel.overdue is overdue
    assert ridden.wheel.steady is (not overdue and wait_us <= STILL_US)


def test_close_pulses_are_overdue_sooner_and_from_a_lower_speed():
    # 105 mm: sqrt(2 * 10 * 0.105) = 1.449 m/s. 72.5 ms are 1448 mm/s, 72.4 ms 1450.
    for period_us, overdue in ((72_500, False), (72_400, True)):
        ridden = rolled(period_us, period_us, pulses=20)
        ridden.wait(200_000)
        assert ridden.wheel.overdue is overdue


def test_an_overdue_pulse_stays_overdue_until_one_comes():
    ridden = rolled(302_400, 302_400)
    ridden.wait(700_000)
    ridden.wait(5_000)
    assert ridden.wheel.overdue
    ridden.wait(STILL_US)
    for _ in range(4):
        ridden.wait(268_435_000)
    assert ridden.wheel.overdue
    ridden.pulse_after(10)
    assert not ridden.wheel.overdue
    # One pulse is no speed, so nothing is overdue again.
    ridden.wait(2_000_000)
    assert not ridden.wheel.overdue


def test_a_falling_edge_does_not_end_the_wait():
    ridden = rolled(302_400, 302_400)
    ridden.wait(700_000)
    ridden.wheel.edge(SmallInt(0), SmallInt(ridden.now_us))
    assert ridden.wheel.overdue


def test_after_a_standstill_the_speed_before_it_makes_nothing_overdue():
    ridden = rolled(302_400)
    ridden.wait(STILL_US + 1)
    ridden.pulse_after(10)
    ridden.wait(5_000)
    assert not ridden.wheel.overdue
    assert ridden.wheel._pulse_mm_per_s == 0
