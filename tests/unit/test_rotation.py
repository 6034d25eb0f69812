"""From the time between pulses to a rate that decays, stands still and never wakes by itself."""

import pytest

from firmware.sense.rotation import Rotation, Wheel
from tests.builders import BEFORE_WRAP_US, WRAP_US
from tests.small_int import SmallInt

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
    rotation.measured(SmallInt(period_us), SmallInt(BEFORE_WRAP_US))
    assert rotation.rate(SmallInt(BEFORE_WRAP_US)) == rpm


def test_before_the_first_period_the_rate_is_zero():
    assert cadence().rate(SmallInt(5)) == 0
    assert cadence().standing


def test_the_rate_decays_once_the_wait_is_longer_than_the_period():
    rotation = cadence()
    rotation.measured(SmallInt(100_000), SmallInt(BEFORE_WRAP_US))
    assert rotation.rate(later(BEFORE_WRAP_US, 99_999)) == 50
    assert rotation.rate(later(BEFORE_WRAP_US, 100_000)) == 50
    assert rotation.rate(later(BEFORE_WRAP_US, 200_000)) == 25
    assert rotation.rate(later(BEFORE_WRAP_US, 500_000)) == 10
    assert rotation.rate(later(BEFORE_WRAP_US, 1_000_000)) == 5


def test_a_standstill_is_latched_and_no_old_stamp_wakes_it():
    rotation = cadence()
    rotation.measured(SmallInt(100_000), SmallInt(0))
    assert rotation.rate(SmallInt(1_000_000)) == 5
    assert not rotation.standing
    assert rotation.rate(SmallInt(1_000_001)) == 0
    assert rotation.standing
    assert rotation.rate(SmallInt(50)) == 0  # One whole wrap later the stamp would look recent.


def test_stand_forgets_at_once():
    rotation = cadence()
    rotation.measured(SmallInt(100_000), SmallInt(0))
    rotation.stand()
    assert rotation.rate(SmallInt(10)) == 0


def test_an_edge_stamped_after_now_is_no_older_than_none():
    rotation = cadence()
    rotation.measured(SmallInt(100_000), SmallInt(1_000))
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
