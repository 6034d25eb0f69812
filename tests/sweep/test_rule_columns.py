"""A sweep calls a rule only what `verify` does: the same rides, probes and limits, one verdict."""

import csv
import json

import pytest

from host_sim.bikes.load import load_bike
from host_sim.rules.catalogue import RULES, rule_named
from host_sim.rules.judge import FAILS, HOLDS, Judging
from host_sim.sweeping.points import Points, read_axis, with_values
from host_sim.sweeping.rows import Sweep
from host_sim.sweeping.rule_columns import margin_column, rule_columns, worst_column

# The sweep's own ride takes 6.5 s to settle here, for the slope in it, where verify's rides take 1.3 s.
SLOW_ON_THE_SLOPE = {"settings.rise_mv_per_s": 600.0, "settings.gain_uv_per_w": 100.0}


def rows(bike, axes, rules, rides, seed=1):
    """Return the rows of the points of a sweep, ridden here."""
    points = Points([read_axis(axis, True) for axis in axes], None, seed)
    sweep = Sweep(load_bike(bike), points, 30.0, seed, None, rules, rides)
    lines = [sweep.row(number) for number in range(points.count)]
    return list(csv.DictReader(lines, fieldnames=sweep.columns())), points


def verdict(bike, rule, rides, seed=1):
    judging = Judging(bike, [rule_named(rule)], seed, rides)
    judging.ride(lambda done, of_all: None, workers=1)
    return judging.verdicts()[0]


@pytest.mark.long
@pytest.mark.parametrize(
    ("bike", "axes", "rules", "rides", "seed", "expected"),
    [
        (
            "tandem",
            ["rise_mv_per_s=600:600:1", "gain_uv_per_w=100:100:1"],
            ("power settling", "surge"),
            1,
            1,
            {HOLDS},
        ),
        ("cargo_trike", ["gain_uv_per_w=1:1500:2"], ("power settling", "surge"), 1, 7, {HOLDS, FAILS}),
        ("folding", ["engage_rpm=15:40:2"], ("steady help", "power overshoot"), 1, 3, {HOLDS, FAILS}),
    ],
)
def test_each_point_has_the_verdict_of_verify(bike, axes, rules, rides, seed, expected):
    found, points = rows(bike, axes, rules, rides, seed)
    outcomes = set()
    for number, row in enumerate(found):
        changed = with_values(load_bike(bike), points.values(number))
        for rule in rules:
            held = verdict(changed, rule, rides, seed)
            outcomes.add(held.outcome)
            worst, margin = row[worst_column(rule)], row[margin_column(rule)]
            if held.applies and held.measured is not None:
                assert float(worst) == held.measured
                assert (float(margin) < 0.0) == held.fails
            else:
                assert (worst, margin) == ("", "")
    assert outcomes == expected


def test_a_slope_of_the_sweeps_own_ride_is_no_broken_rule():
    found, points = rows(
        "tandem", ["rise_mv_per_s=600:600:1", "gain_uv_per_w=100:100:1"], ("power settling",), 2
    )
    assert points.values(0) == SLOW_ON_THE_SLOPE
    assert float(found[0]["worst_power_settling"]) < 2.0
    assert float(found[0]["margin_power_settling"]) > 6.0


def test_every_rule_has_columns_of_its_own():
    columns = rule_columns(tuple(rule.name for rule in RULES))
    assert len(set(columns)) == 2 * len(RULES)
    assert all(column.replace("_", "").isalnum() for column in columns)


@pytest.mark.long
def test_without_a_rule_asked_for_nothing_is_called_one(treadle, tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    code, out, _ = treadle("sweep", "--vary", "rise_mv_per_s=200:3000:3", "--seconds", "30", "--json")
    assert code == 0
    assert json.loads(out)["rules"] == {}
    assert "margin" not in out
    assert "broken" not in out


@pytest.mark.long
def test_the_command_says_where_a_rule_fails(treadle, tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    words = ["--vary", "gain_uv_per_w=1:1500:2", "--seconds", "30", "--rides", "1", "--workers", "2"]
    code, out, _ = treadle(
        "sweep", *words, "--rule", "power settling", "--rule", "power settling", "--out", "a.csv"
    )
    assert code == 0
    assert 'The rule "power settling" fails at 1 of 2 points; worst ' in out
    assert out.count("The rule") == 1
    told = treadle("sweep", *words, "--rule", "first help", "--json", "--out", "b.csv")[1]
    assert json.loads(told)["rules"]["first help"]["bike_holds"] is True


@pytest.mark.parametrize(
    ("words", "sentence"),
    [
        (("--rule", "surging"), '--rule is "surging", '),
        (("--rule", "surge", "--rides", "0"), "--rides is '0', allowed is a whole number from 1 to"),
    ],
)
def test_an_unknown_rule_is_refused(treadle, tmp_path, monkeypatch, words, sentence):
    monkeypatch.chdir(tmp_path)
    code, out, told = treadle("sweep", "--vary", "rise_mv_per_s=200:3000:3", *words)
    assert (code, out) == (2, "")
    assert sentence in told
    assert not (tmp_path / "treadle-sweep").exists()
