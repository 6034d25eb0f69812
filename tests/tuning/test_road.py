"""The priority range: energy and time for a kilometre, measured on rides, scored, and said with numbers."""

from dataclasses import replace

import pytest

from host_sim.bikes.load import load_bike
from host_sim.report.tuning_trade_figure import draw_trade
from host_sim.tuning import road_rides
from host_sim.tuning.road_rides import (
    RoadChoice,
    RoadMeasures,
    RoadPoint,
    choose_assist,
    measure_road,
    road_course,
    road_score,
)
from host_sim.tuning.rows import rows_of
from host_sim.tuning.score import PRIORITIES
from host_sim.tuning.trade import given_up
from host_sim.tuning.variant import with_settings

FULL = RoadMeasures(12.0, 3.0)
SAVING = RoadPoint(120, RoadMeasures(8.0, 4.0), 4.0 / 3.0)


@pytest.fixture(scope="module")
def folding():
    return load_bike("folding")


def test_a_kilometre_takes_the_watts_times_its_minutes():
    # 100 W for 5.25 min are 8.75 Wh; while the trike gathers speed its motor takes a little less.
    found = measure_road(with_settings(load_bike("cargo_trike"), {"assist_power_w": 100}))
    assert found.wh_per_km == pytest.approx(100.0 * found.min_per_km / 60.0, rel=0.05)
    assert found.wh_per_km < 100.0 * found.min_per_km / 60.0


def test_without_help_the_battery_gives_nothing_and_the_range_has_no_end(folding):
    alone = measure_road(with_settings(folding, {"assist_power_w": 0}))
    assert alone.wh_per_km == 0.0
    assert alone.range_km(folding) is None
    assert alone.min_per_km > measure_road(folding).min_per_km


def test_the_range_on_a_full_pack_is_the_hand_calculation(folding):
    battery = folding.battery
    usable_wh = 0.9 * battery.capacity_ah * (battery.full_v + battery.empty_v) / 2.0
    assert RoadMeasures(10.0, 3.0).range_km(folding) == pytest.approx(usable_wh / 10.0)


def test_no_setting_has_a_part_in_the_way(folding):
    other = with_settings(folding, {"assist_power_w": 60, "engage_rpm": 30, "release_rpm": 5})
    for grade in (0.0, 3.0):
        one, two = road_course(folding, grade), road_course(other, grade)
        assert (one.seconds, len(one.stretches)) == (two.seconds, len(two.stretches))


@pytest.mark.parametrize(
    ("wh_per_km", "minutes", "score"),
    [(12.0, 3.0, 1.0 + 20.0 / 3.0), (8.0, 3.6, 1.2), (7.0, 4.5, 1.5), (8.6, 3.3, 1.1 + 1.0)],
)
def test_a_twentieth_of_energy_above_two_thirds_costs_as_much_as_twice_the_time(wh_per_km, minutes, score):
    assert road_score(RoadMeasures(wh_per_km, minutes), FULL) == pytest.approx(score)


def test_the_most_help_within_two_thirds_of_the_energy_is_chosen(folding, monkeypatch):
    monkeypatch.setattr(road_rides, "measure_road", straight_line)
    choice = choose_assist(folding, 250, None)
    assert choice.full.assist_power_w == 250
    assert choice.chosen.assist_power_w == 162  # 0.65 of 250 W; 0.7 would be a little beyond two thirds.
    assert [point.assist_power_w for point in choice.tried][::14] == [75, 250]


def test_an_assist_power_that_is_kept_stays_and_full_help_is_still_what_it_is_held_against(
    folding, monkeypatch
):
    monkeypatch.setattr(road_rides, "measure_road", straight_line)
    choice = choose_assist(folding, 250, 210)
    assert (choice.chosen.assist_power_w, choice.full.assist_power_w) == (210, 250)


def straight_line(bike, seed=1):
    watts = bike.firmware_settings.assist_power_w
    return RoadMeasures(0.04 * watts, 6.0 - 0.01 * watts)


def ranged(folding_tuned):
    """Return the folding bicycle as if tuned for range."""
    road = RoadChoice(SAVING, RoadPoint(250, FULL, 7.7), [SAVING, RoadPoint(250, FULL, 7.7)])
    before, after = (
        replace(one, road=measures)
        for one, measures in ((folding_tuned.before, FULL), (folding_tuned.after, SAVING.measures))
    )
    changes = folding_tuned.changes | {"assist_power_w": 120}
    return replace(
        folding_tuned, priority=PRIORITIES["range"], road=road, before=before, after=after, changes=changes
    )


def test_what_is_given_up_is_minutes_and_what_is_won_kilometres(folding_tuned):
    told = given_up(ranged(folding_tuned))
    assert told.startswith(
        "What you give up for range: a kilometre takes 4.0 min (with 250 W of help: 3.0 min), for "
    )
    battery = folding_tuned.bike.battery
    usable_wh = 0.9 * battery.capacity_ah * (battery.full_v + battery.empty_v) / 2.0
    assert f"for {usable_wh / 8.0:.0f} km on a full battery instead of {usable_wh / 12.0:.0f} km" in told


def test_the_row_has_energy_time_and_range_before_and_after(folding_tuned):
    (row,) = [row for row in rows_of(ranged(folding_tuned)) if row.setting == "assist_power_w"]
    assert (row.now, row.recommended) == (250, 120)
    assert (row.before["wh_per_km"], row.after["wh_per_km"]) == (12.0, 8.0)
    assert row.after["range_km"] == pytest.approx(1.5 * row.before["range_km"], rel=1e-4)


def test_other_priorities_leave_the_assist_power_alone(folding_tuned):
    assert folding_tuned.road is None
    assert "assist_power_w" not in folding_tuned.changes
    assert [name for name, priority in PRIORITIES.items() if priority.thrift] == ["range"]
    assert folding_tuned.after.road.wh_per_km > 0.0


def test_the_trade_of_energy_against_time_is_drawn(folding_tuned, tmp_path):
    draw_trade(ranged(folding_tuned), tmp_path / "trade.png")
    assert (tmp_path / "trade.png").read_bytes()[:4] == b"\x89PNG"
