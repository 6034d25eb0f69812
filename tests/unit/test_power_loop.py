"""The power loop by hand: dead band from 1000 mV, 1500 uV/W, integral time 600 ms, steps of 5 ms."""

import pytest

from firmware.drive.power_loop import PowerLoop
from host_sim.rig.rig import BEFORE_WRAP_US, WRAP_US
from host_sim.rig.small_int import SmallInt
from host_sim.rig.small_settings import settings_with


class Driven:
    """A loop stepped every 5 ms across the wrap, whose command goes out as asked unless a test says."""

    def __init__(self, **settings: int):
        self.now_us = BEFORE_WRAP_US
        self.loop = PowerLoop(settings_with(**settings), SmallInt(self.now_us))

    def step(self, allowed_w: int, power_w: int, applied_mv: int | None = None, span_us: int = 5_000) -> int:
        self.now_us = (self.now_us + span_us) % WRAP_US
        applied = self.loop.target_mv if applied_mv is None else applied_mv
        watts = (SmallInt(allowed_w), SmallInt(power_w))
        return self.loop.step(*watts, SmallInt(applied), SmallInt(self.now_us))


def test_at_rest_the_target_is_zero_and_asked_for_power_it_starts_at_the_dead_band():
    driven = Driven()
    assert driven.loop.target_mv == 0
    # 1000 mV and 250 W of error times 1.5 mV/W.
    assert driven.step(250, 0) == 1_375
    assert driven.loop.target_mv == 1_375


def test_steps_at_one_time_move_no_integral():
    driven = Driven()
    driven.step(250, 150)
    for _ in range(1_000):
        assert driven.step(250, 150, span_us=0) == 1_150


def test_below_the_dead_band_the_integral_is_nothing_at_all():
    driven = Driven(gain_uv_per_w=999)
    for _ in range(1_000):
        driven.step(250, 250, applied_mv=0)
    assert driven.step(250, 249, applied_mv=0) == 1_000  # 999 uV of error, and not one more.


def test_after_one_integral_time_the_integral_has_grown_to_the_proportional_part():
    # u = K e + I and dI/dt = K e / Ti: with a steady error of 100 W both parts are 150 mV after 600 ms.
    driven = Driven()
    assert driven.step(250, 150) == 1_150
    for _ in range(119):
        driven.step(250, 150)
    assert driven.step(250, 150) == 1_300


def test_nothing_is_lost_to_rounding_in_the_slowest_loop():
    # 1 W times 1 uV/W, 20 s: 1 uV needs 4000 steps of 5 ms, each a fraction of a microvolt.
    driven = Driven(gain_uv_per_w=1_000, integral_ms=20_000)
    for _ in range(4_001):
        driven.step(2, 1)
    assert driven.step(2, 1) == 1_002


def test_too_much_power_lowers_the_target_and_never_below_the_dead_band():
    driven = Driven()
    for _ in range(240):
        driven.step(250, 150)
    # After 1200 ms, two integral times, the integral stands at 300 mV.
    assert driven.step(250, 250) == 1_300
    assert driven.step(250, 300) == 1_225
    assert driven.step(250, 3_000) == 1_000
    assert driven.step(250, 100_000) == 1_000


def test_a_reading_beyond_3000_w_counts_as_3000():
    low = Driven(gain_uv_per_w=100)
    high = Driven(gain_uv_per_w=100)
    for driven in (low, high):
        for _ in range(9_000):
            driven.step(1_500, 0, span_us=20_000)
    assert low.step(1_500, 3_000) == high.step(1_500, 9_999)
    assert low.loop.target_mv > 1_000


def test_the_integral_follows_the_command_that_went_out_and_cannot_wind_up():
    # The slew limiter holds the command at 1100 mV for a minute although 250 W are missing.
    driven = Driven()
    for _ in range(12_000):
        assert driven.step(250, 0, applied_mv=1_100) <= 1_475
    # The error gone, the target is what went out: 100 mV above the dead band, no more.
    assert driven.step(250, 250, applied_mv=1_100) == 1_100


def test_a_command_cut_to_zero_empties_the_integral_and_no_more():
    driven = Driven()
    for _ in range(600):
        driven.step(250, 150)
    for _ in range(6_000):
        driven.step(250, 250, applied_mv=0)
    assert driven.step(250, 250, applied_mv=0) == 1_000


def test_one_step_of_tracking_by_hand():
    # 400 mV above the dead band, 5 ms of 600: (400_000 - 0) * 50 / 6000 = 3333 uV.
    driven = Driven()
    driven.step(250, 0)
    driven.step(250, 250, applied_mv=1_400)
    assert driven.step(250, 250, applied_mv=1_400) == 1_006


def test_the_target_never_exceeds_the_highest_command():
    driven = Driven(gain_uv_per_w=50_000)
    assert driven.step(1_500, 0) == 3_600
    for _ in range(2_000):
        assert driven.step(1_500, 0) == 3_600


def test_a_late_step_counts_as_20_ms_and_time_running_back_as_none():
    late = Driven()
    on_time = Driven()
    for driven in (late, on_time):
        driven.step(250, 0)
    late.step(250, 0, applied_mv=3_000, span_us=400_000)
    on_time.step(250, 0, applied_mv=3_000, span_us=20_000)
    assert late.step(250, 250, 3_000) == on_time.step(250, 250, 3_000)
    back = Driven()
    back.step(250, 0)
    back.step(250, 0, applied_mv=3_000, span_us=-50_000)
    assert back.step(250, 250, applied_mv=1_000, span_us=0) == 1_000


def test_rest_forgets_everything():
    driven = Driven()
    for _ in range(600):
        driven.step(250, 100)
    driven.loop.rest(SmallInt(driven.now_us))
    assert driven.loop.target_mv == 0
    assert driven.step(250, 250) == 1_000


def test_after_a_rest_no_time_has_passed():
    driven = Driven()
    driven.step(250, 0)
    driven.loop.rest(SmallInt((driven.now_us + 1_000_000) % WRAP_US))
    driven.now_us += 1_000_000
    driven.step(250, 250, applied_mv=3_000, span_us=100)
    # 100 us of 600 ms towards 2 V is 333 uV: less than the millivolt of the command.
    assert driven.step(250, 250, applied_mv=1_000, span_us=0) == 1_000


@pytest.mark.parametrize(
    ("allowed_w", "target_mv"),
    # 2600 mV on 300 W: 8.666 mV/W.
    [(1, 1_008), (150, 2_299), (250, 3_166), (300, 3_599), (301, 3_600), (1_500, 3_600)],
)
def test_without_a_shunt_the_command_follows_the_open_map(allowed_w, target_mv):
    driven = Driven(shunt_fitted=0)
    assert driven.step(allowed_w, 0) == target_mv
    assert driven.step(allowed_w, 3_000, applied_mv=0) == target_mv


def test_rest_forgets_to_the_last_microvolt():
    driven = Driven()
    for _ in range(50):
        driven.step(250, 100)
    driven.loop.rest(SmallInt(driven.now_us))
    loop = driven.loop
    assert (loop._integral_uv, loop._target_uv, loop._carry, loop.target_mv) == (0, 0, 0, 0)


def test_power_above_what_is_allowed_asks_for_nothing_above_the_dead_band():
    driven = Driven()
    driven.step(100, 1_000)
    assert driven.loop._target_uv == 0


@pytest.mark.parametrize(
    ("applied_mv", "target_mv"),
    [(999, 1_000), (1_000, 1_000), (1_001, 1_001), (2_200, 2_200), (3_600, 3_600), (5_000, 3_600)],
)
def test_a_preset_loop_goes_on_from_the_command_that_went_out(applied_mv, target_mv):
    driven = Driven()
    for _ in range(200):
        driven.step(250, 100)
    driven.loop.preset(SmallInt(applied_mv))
    assert driven.loop._carry == 0
    # Without an error the target is the integral.
    assert driven.step(250, 250, applied_mv=applied_mv, span_us=0) == target_mv


@pytest.mark.parametrize(
    ("change_uv", "target_mv"),
    [
        (72_222, 2_272),
        (-90_278, 2_109),
        (-1_200_000, 1_000),
        (-1_200_001, 1_000),
        (-5_000_000, 1_000),
        (1_400_000, 3_600),
        (1_400_001, 3_600),
        (5_000_000, 3_600),
        (0, 2_200),
    ],
)
def test_a_shift_moves_the_integral_within_the_range_of_the_command(change_uv, target_mv):
    driven = Driven()
    driven.loop.preset(SmallInt(2_200))
    driven.loop.shift(SmallInt(change_uv))
    assert driven.step(250, 250, applied_mv=2_200, span_us=0) == target_mv
    assert 0 <= driven.loop._integral_uv <= 2_600_000


def test_shifts_add_up_and_keep_what_was_carried():
    driven = Driven()
    for _ in range(2):
        driven.step(250, 239)
    # 11 W are 16_500 uV; 5 ms of 600 of them are 137.5 uV, and the half is carried: 3000 of 6000.
    carried = driven.loop._carry
    assert carried == 3_000
    before_uv = driven.loop._integral_uv
    for _ in range(10):
        driven.loop.shift(SmallInt(333))
    assert driven.loop._integral_uv == before_uv + 3_330
    assert driven.loop._carry == carried
