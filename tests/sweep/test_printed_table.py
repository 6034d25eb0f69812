"""What a sweep prints fits 80 columns and is true about how fast it went."""

import io
from contextlib import redirect_stdout

import pytest

from host_sim.cli.sweep_table import print_sweep
from host_sim.rules.catalogue import RULES
from host_sim.sweeping.metrics import MEASURES
from host_sim.sweeping.points import known_keys
from host_sim.sweeping.summary import summary
from tests.sweep.made_up import numbers_of, sweep_of


def printed(numbers):
    out = io.StringIO()
    with redirect_stdout(out):
        print_sweep(numbers)
    return out.getvalue()


def told(**changes):
    """Return a result of many keys, long values and every rule."""
    keys = sorted(known_keys(), key=len)[-6:]
    at = {"number": 999_999.0, **dict.fromkeys(keys, 123456.789)}
    spread = {
        "bike": 123456.789, "noise": 0.0, "moves": True, "lowest": 1.23456e-7, "lowest_at": at,
        "median": -123456.789, "highest": 1e12, "highest_at": at,
    }  # fmt: skip
    verdicts = {
        "fails": 1,
        "holds": 2,
        "not_shown": 3,
        "bike_holds": None,
        "worst": 1e9,
        "limit": 1e-9,
        "worst_at": at,
    }
    return {
        "measures": dict.fromkeys(MEASURES, spread), "rules": {rule.name: verdicts for rule in RULES},
        "points": 1_000_000, "ridden": 1_000_000, "rides": 1_000_000, "already_there": 0,
        "riding_s": 100.0, "seconds": 60.0,
        "not_ridden": {"settings: " + "release_rpm must be lower " * 9: 3}, "files": ["a.csv"],
    } | changes  # fmt: skip


@pytest.mark.parametrize("moves", [True, False])
def test_no_line_is_longer_than_80_columns(moves):
    numbers = told()
    for spread in numbers["measures"].values():
        spread["moves"] = moves
    for line in printed(numbers).splitlines():
        assert len(line) <= 80, line


def test_a_summary_of_numbers_is_printed_as_it_is():
    numbers = numbers_of(
        sweep_of(), lambda values, random: {"jerk_m_per_s3": values["settings.rise_mv_per_s"] / 1000}
    )
    result = told(**summary(numbers, ()))
    text = printed(result)
    assert "measure      bike  lowest  median  highest\njerk (m/s³)   0.6     0.2     2.1        4\n" in text
    assert "jerk: lowest at rise 200 mV/s, engage 15 rpm\n" in text
    assert "Flat, within noise or 1 %: start to first help (s) 1," in text


def test_the_speed_is_that_of_the_rides_and_left_out_where_it_would_tell_nothing():
    assert "1000 rides in 100.0 s: 600 times real time." in printed(told(rides=1000, rules={}))
    assert "times real" not in printed(told(rides=1000))  # Rides of rules are not counted in it.
    assert "times real" not in printed(told(rides=12, rules={}))
    assert "times real" not in printed(told(rides=1000, rules={}, riding_s=0.0))
    there = printed(told(rides=1000, already_there=1000, rules={}, riding_s=0.0))
    assert "all rides were done already" in there
    assert "times real" not in there
