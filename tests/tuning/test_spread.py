"""The luck of the rides hardly moves a recommendation, and how far it does is printed."""

import pytest

from host_sim.cli.tune_table import reason_lines, table_lines
from host_sim.tuning.row import Row
from host_sim.tuning.rows import rows_of
from host_sim.tuning.spread import balance_point, nearest, spread_of
from tests.tuning.spreads import Spreads, spreads_all


def test_of_values_that_are_as_good_the_nearest_to_the_present_one_is_taken():
    assert nearest([18, 19, 20, 21, 22], 20) == 20
    assert nearest([18, 19], 20) == 19
    assert nearest([23, 24], 20) == 23
    assert nearest([10, 40], 20) == 10  # Half and twice as much are as near; the lower one.


def test_a_flat_bottom_gives_its_middle_whichever_point_noise_makes_the_least():
    flat = {6: 9.0, 7: 1.02, 8: 1.0, 9: 1.01, 10: 9.0}
    tilted = {6: 9.0, 7: 1.0, 8: 1.02, 9: 1.01, 10: 9.0}
    assert balance_point(list(flat), flat.__getitem__, 0.05) == 8
    assert balance_point(list(tilted), tilted.__getitem__, 0.05) == 8


def test_a_clear_best_is_the_middle():
    steep = {6: 2.0, 7: 1.0, 8: 2.0, 9: 3.0}
    assert balance_point(list(steep), steep.__getitem__, 0.05) == 7


def test_the_words_say_where_the_score_is_flat_and_what_single_draws_say():
    spread = spread_of([18, 20, 21], [18, 19, 20, 21, 22])
    assert spread.words() == (
        "flat between 18 and 22; 18 to 21 on single draws of the rides, 3 taken together here"
    )
    assert spread_of([20, 20], [20]).words() == "the same on each of 2 draws of the rides"


def test_the_table_says_what_is_as_good_within_80_columns(folding_tuned):
    rows = rows_of(folding_tuned)
    lines = table_lines(rows)
    assert lines[0].split() == ["setting", "now", "recommended", "as", "good"]
    (line,) = [line for line in lines if line.startswith("engage_rpm")]
    assert line.split() == ["engage_rpm", "20", "22", "changed", "22", "to", "25"]
    assert max(len(one) for one in lines) <= 80


@pytest.mark.parametrize(
    ("shares", "shown"),
    [([0.0, 35.0, 70.0, 100.0], "0 35 70 100"), ([0.0, 12.5, 33.3, 50.5, 75.5, 100.0], "see below")],
)
def test_selector_shares_and_the_widest_values_stay_within_80_columns(shares, shown):
    wide = {"spread": "flat between 50000 and 99999; on luck", "why": "", "assumes": "", "check": ""}
    rows = [
        Row(setting=setting, now=now, recommended=other, before={}, after={}, **wide)
        for setting, now, other in (
            ("heat_foldback_decicelsius", 50000, 49999),
            ("selector.shares_percent", shares, shares[:1]),
        )
    ]
    lines = table_lines(rows)
    assert f"selector.shares_percent    {shown:>{max(len(shown), 5)}}" in lines[2]
    assert "50000 to 99999" in lines[1]
    assert max(len(one) for one in lines) <= 80
    assert "0 12.5 33.3" in "\n".join(reason_lines(rows[1])) or shown != "see below"


def test_a_tenth_and_more_than_one_step_apart_is_wide():
    found = Spreads(
        "a bike", {"release_rpm": [7, 8], "rise_mv_per_s": [500, 549], "gain_uv_per_w": [90, 100]}
    )
    assert found.wide() == {"gain_uv_per_w": [90, 100]}
    assert Spreads("a bike", {"release_rpm": [7, 9]}).wide() == {"release_rpm": [7, 9]}


@pytest.mark.slow
def test_seeds_1_to_5_recommend_the_same_within_a_tenth_or_one_step():
    for one in spreads_all():
        assert one.wide() == {}, one.name
