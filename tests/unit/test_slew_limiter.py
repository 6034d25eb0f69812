"""The command voltage follows its target at its rates, and loses nothing to rounding."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from firmware.drive.slew_limiter import ELAPSED_MAX_US, RATE_MAX_MV_PER_S, SlewLimiter
from firmware.ticks import TICKS_MAX_US
from host_sim.rig.small_int import SmallInt

OUT_OF_REACH_MV = 1_000_000
rates = st.integers(1, RATE_MAX_MV_PER_S)
times_us = st.integers(0, TICKS_MAX_US) | st.integers(TICKS_MAX_US - 1_000, TICKS_MAX_US)
gaps_us = st.integers(0, ELAPSED_MAX_US)


def test_rises_and_falls_each_at_its_own_rate():
    limiter = SlewLimiter(rise_mv_per_s=500, fall_mv_per_s=5_000, now_us=0)
    assert limiter.step(target_mv=3_000, now_us=10_000) == 5
    assert limiter.step(target_mv=3_000, now_us=20_000) == 10
    assert limiter.step(target_mv=0, now_us=21_000) == 5
    assert limiter.step(target_mv=0, now_us=22_000) == 0


def test_a_cut_is_immediate():
    limiter = SlewLimiter(rise_mv_per_s=500, fall_mv_per_s=1, now_us=0)
    limiter.step(target_mv=3_000, now_us=50_000)
    limiter.reset(0, now_us=50_001)
    assert limiter.step(target_mv=3_000, now_us=50_001) == 0


def test_a_stalled_loop_buys_no_jump():
    limiter = SlewLimiter(rise_mv_per_s=500, fall_mv_per_s=500, now_us=0)
    assert limiter.step(OUT_OF_REACH_MV, now_us=10 * ELAPSED_MAX_US) == 50


def test_time_that_runs_backward_buys_nothing_however_often():
    limiter = SlewLimiter(rise_mv_per_s=10_000, fall_mv_per_s=10_000, now_us=1_000)
    for now_us in range(999, 0, -1):
        assert limiter.step(OUT_OF_REACH_MV, now_us) == 0


def test_at_its_target_nothing_is_carried_on():
    limiter = SlewLimiter(rise_mv_per_s=500, fall_mv_per_s=500, now_us=0)
    assert limiter.step(target_mv=1, now_us=3_000) == 1  # 1.5 mV were allowed: the half is gone.
    assert limiter.step(target_mv=100, now_us=4_000) == 1
    limiter = SlewLimiter(rise_mv_per_s=27, fall_mv_per_s=27, now_us=0)
    assert limiter.step(target_mv=1, now_us=50_000) == 1
    # 27 mV/s for 37,037 us are 999,999 nV, one less than a millivolt.
    assert limiter.step(target_mv=100, now_us=87_037) == 1
    assert limiter.step(target_mv=100, now_us=87_038) == 2


@pytest.mark.parametrize("rate", [0, -1, RATE_MAX_MV_PER_S + 1])
@pytest.mark.parametrize("name", ["rise_mv_per_s", "fall_mv_per_s"])
def test_a_rate_out_of_range_is_refused_by_name(name, rate):
    good = {"rise_mv_per_s": 1, "fall_mv_per_s": RATE_MAX_MV_PER_S, "now_us": 0}
    with pytest.raises(ValueError, match=f"{name} must be 1 to 10000, got {rate}"):
        SlewLimiter(**{**good, name: rate})


@given(rate=rates, start_us=times_us, gaps=st.lists(gaps_us, max_size=40))
def test_uneven_steps_across_the_wrap_equal_one_exact_ramp(rate, start_us, gaps):
    limiter = SlewLimiter(SmallInt(rate), RATE_MAX_MV_PER_S, SmallInt(start_us))
    now_us = start_us
    for gap_us in gaps:
        now_us = (now_us + gap_us) & TICKS_MAX_US
        limiter.step(OUT_OF_REACH_MV, SmallInt(now_us))
    assert limiter.command_mv == rate * sum(gaps) // 1_000_000


def test_time_that_runs_backwards_counts_as_none():
    limiter = SlewLimiter(rise_mv_per_s=500, fall_mv_per_s=500, now_us=50_000)
    assert limiter.step(target_mv=3_000, now_us=70_000) == 10
    assert limiter.step(target_mv=3_000, now_us=10_000) == 10
    assert limiter.step(target_mv=0, now_us=0) == 10
    assert limiter.step(target_mv=3_000, now_us=20_000) == 20


@pytest.mark.parametrize("value", [1, RATE_MAX_MV_PER_S])
def test_both_ends_of_the_range_of_rates_are_taken(value):
    limiter = SlewLimiter(rise_mv_per_s=value, fall_mv_per_s=value, now_us=0)
    for hundredths in range(1, 11):
        limiter.step(OUT_OF_REACH_MV, now_us=hundredths * ELAPSED_MAX_US)
    assert limiter.command_mv == value


def test_a_reset_forgets_what_was_carried():
    limiter = SlewLimiter(rise_mv_per_s=27, fall_mv_per_s=27, now_us=0)
    limiter.step(target_mv=100, now_us=37_037)
    limiter.reset(0, now_us=37_037)
    assert limiter.step(target_mv=100, now_us=74_074) == 0
    assert limiter.step(target_mv=100, now_us=74_075) == 1


@pytest.mark.parametrize(
    ("rate_mv_per_s", "command_mv"),
    # 10 ms at the given rate, where it is quicker than the rise rate of 500 mV/s.
    [(4_000, 40), (501, 5), (600, 6), (500, 5), (100, 5), (1, 5)],
)
def test_a_search_rises_at_its_own_rate_where_that_is_quicker(rate_mv_per_s, command_mv):
    limiter = SlewLimiter(rise_mv_per_s=500, fall_mv_per_s=5_000, now_us=0)
    assert limiter.seek(SmallInt(3_000), SmallInt(rate_mv_per_s), SmallInt(10_000)) == command_mv


def test_a_search_never_passes_its_target_and_falls_at_the_fall_rate():
    limiter = SlewLimiter(rise_mv_per_s=500, fall_mv_per_s=5_000, now_us=0)
    assert limiter.seek(target_mv=100, rate_mv_per_s=10_000, now_us=50_000) == 100
    assert limiter.seek(target_mv=100, rate_mv_per_s=10_000, now_us=60_000) == 100
    assert limiter.seek(target_mv=0, rate_mv_per_s=10_000, now_us=61_000) == 95


def test_a_stall_buys_a_search_no_jump():
    limiter = SlewLimiter(rise_mv_per_s=500, fall_mv_per_s=500, now_us=0)
    assert limiter.seek(OUT_OF_REACH_MV, 10_000, now_us=50 * ELAPSED_MAX_US) == 1_000
    assert limiter.seek(OUT_OF_REACH_MV, 10_000, now_us=0) == 1_000


@given(start_us=times_us, gaps=st.lists(gaps_us, max_size=40))
def test_a_search_carries_what_is_below_a_millivolt(start_us, gaps):
    limiter = SlewLimiter(1, RATE_MAX_MV_PER_S, SmallInt(start_us))
    now_us = start_us
    for gap_us in gaps:
        now_us = (now_us + gap_us) & TICKS_MAX_US
        limiter.seek(OUT_OF_REACH_MV, SmallInt(777), SmallInt(now_us))
    assert limiter.command_mv == 777 * sum(gaps) // 1_000_000
