"""Priorities change the score openly: what each gives up is said with numbers and drawn."""

from dataclasses import replace

import pytest

from host_sim.cli.tune import PRIORITY_NAMES
from host_sim.report.tuning_trade_figure import draw_trade
from host_sim.tuning.drive_bench import DriveChoice, DrivePoint, DriveSettings
from host_sim.tuning.drive_rides import DriveMeasures
from host_sim.tuning.rates import fall_for
from host_sim.tuning.recommend import _drive
from host_sim.tuning.rows import rows_of
from host_sim.tuning.score import PRIORITIES, drive_score
from host_sim.tuning.trade import front, given_up, point_for
from tests.on_compiled import on_compiled


def point(half_s, jerk_m_per_s3, rise=500) -> DrivePoint:
    measures = DriveMeasures(jerk_m_per_s3, half_s, 1.5 * half_s, 0.0, half_s, 0.0, 0.0, 0.0)
    return DrivePoint(DriveSettings(rise, 100, 50), measures, 1.0, 0.0)


SLOW, MIDDLE, FAST = point(1.2, 0.4, 300), point(0.5, 1.0, 700), point(0.2, 2.0, 1500)


def chosen(folding_tuned, name, which):
    drive = DriveChoice(which, [SLOW, MIDDLE, FAST], None)
    return replace(folding_tuned, priority=PRIORITIES[name], drive=drive)


def test_what_is_given_up_is_said_with_the_numbers_of_both(folding_tuned):
    told = given_up(chosen(folding_tuned, "balanced", MIDDLE))
    assert told == (
        "What you give up for balanced: half of the power comes after 0.50 s (quick, before the rules: "
        "0.20 s); "
        "the push rises by 1.00 m/s3 (calm, before the rules: 0.40 m/s3)."
    )


def test_who_is_calm_gives_up_no_calm_and_who_is_quick_no_time(folding_tuned):
    assert "m/s3" not in given_up(chosen(folding_tuned, "calm", SLOW))
    assert "half of the power" not in given_up(chosen(folding_tuned, "quick", FAST))


def test_where_nothing_differs_nothing_is_given_up(folding_tuned):
    drive = DriveChoice(MIDDLE, [MIDDLE], None)
    assert "nothing that can be felt" in given_up(replace(folding_tuned, drive=drive))


def test_a_point_that_another_beats_in_both_is_not_on_the_curve():
    beaten = point(0.6, 1.1)
    assert front([beaten, SLOW, FAST, MIDDLE]) == [FAST, MIDDLE, SLOW]


@pytest.mark.parametrize("name", ["hill", "learner"])
def test_each_priority_weighs_waiting_and_jerking_its_own_way(name, folding_tuned):
    # Who climbs wants help now, who learns wants it gently.
    tuned = chosen(folding_tuned, "balanced", MIDDLE)
    best = point_for(tuned, PRIORITIES[name])
    scores = [drive_score(one.measures, 1.0, PRIORITIES[name]) for one in (SLOW, MIDDLE, FAST)]
    assert drive_score(best.measures, 1.0, PRIORITIES[name]) == pytest.approx(min(scores), abs=0.5)
    assert (PRIORITIES["hill"].haste, PRIORITIES["learner"].care) == (1.5, 4.0)


def test_the_names_of_the_command_are_those_of_the_score():
    assert tuple(PRIORITIES) == PRIORITY_NAMES


def test_the_curve_is_drawn_with_every_priority(folding_tuned, tmp_path):
    draw_trade(chosen(folding_tuned, "balanced", MIDDLE), tmp_path / "trade.png")
    assert (tmp_path / "trade.png").read_bytes()[:4] == b"\x89PNG"


@pytest.mark.long
@on_compiled
def test_a_kept_rise_is_ridden_and_everything_said_is_of_it(folding_tuned):
    bike = folding_tuned.bike
    now_mv_per_s = bike.firmware_settings.rise_mv_per_s
    free = folding_tuned.drive
    assert free.chosen.settings.rise_mv_per_s != now_mv_per_s
    fixed = {"rise_mv_per_s": now_mv_per_s, "engage_rpm": 22}
    kept = _drive(bike, folding_tuned.plants, folding_tuned.priority, 1, fixed, None)
    assert kept.chosen.settings.rise_mv_per_s == now_mv_per_s
    assert kept.recommended == free.chosen.settings
    # Help comes later with the slower rise of now, and what is given up says so.
    assert kept.chosen.measures.half_s > free.chosen.measures.half_s
    changes = folding_tuned.changes | kept.chosen.settings.changes(bike)
    tuned = replace(folding_tuned, drive=kept, changes=changes, keep=("rise_mv_per_s",))
    assert f"{kept.chosen.measures.half_s:.2f} s (quick, before the rules: " in given_up(tuned)
    rise, fall = [row for row in rows_of(tuned) if row.setting in ("rise_mv_per_s", "fall_mv_per_s")]
    assert (rise.now, rise.recommended) == (now_mv_per_s, now_mv_per_s)
    assert f"kept as requested; {free.chosen.settings.rise_mv_per_s} would be recommended" in rise.why
    assert fall.recommended == fall_for(bike, now_mv_per_s)
    held = replace(tuned, keep=(), held={"rise_mv_per_s": now_mv_per_s})
    assert "held back, so that no rule does worse than before; " in rows_of(held)[5].why
