"""What the rules refuse is held back by itself, as little as cures it; a sentence says so with numbers."""

from dataclasses import replace

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from host_sim.tuning import back_off
from host_sim.tuning.back_off import GROUPS, within_rules
from host_sim.tuning.rules_check import Refusal, RulesCheck
from host_sim.tuning.variant import with_settings
from tests.tuning.within import bikes, ended

NAMES = ("engage_rpm", "release_rpm", "stop_pitch_percent", "rise_mv_per_s", "battery_foldback_mv")


def no_count(finished, count):
    """Nobody watches."""


@pytest.fixture
def bench(folding_tuned, monkeypatch):
    """Tuning and rules in a moment: `bench(holds)` tunes the folding bicycle under a rule of our own."""

    def within(*rules):
        def check(tuned, seed, done):
            refused = [
                Refusal(f"rule {number} fails, 2 against 1.", holds) for number, holds in enumerate(rules)
            ]
            return RulesCheck([], None, [one for one in refused if not one.holds(tuned.tuned)], [])

        def again(held):
            changes = folding_tuned.changes | held
            worse = sum(folding_tuned.changes[name] != value for name, value in held.items())
            scores = replace(folding_tuned.after.scores, drive=folding_tuned.after.scores.drive + 0.1 * worse)
            return replace(
                folding_tuned,
                changes=changes,
                tuned=with_settings(folding_tuned.bike, changes),
                held=held,
                after=replace(folding_tuned.after, scores=scores),
            )

        monkeypatch.setattr(back_off, "check_rules", check)
        return within_rules(folding_tuned, again, 1, no_count)

    return within


def read(bike, name):
    return getattr(bike.firmware_settings, name)


def test_three_groups_that_are_refused_at_once_are_held_back_and_the_others_are_not(bench, folding_tuned):
    # Everything was held back where no two groups cured it.
    now = folding_tuned.bike.firmware_settings
    three = ("release_rpm", "stop_pitch_percent", "battery_foldback_mv")
    within = bench(*(lambda bike, name=name: read(bike, name) == getattr(now, name) for name in three))
    assert all(within.tuned.changes[name] == getattr(now, name) for name in three)
    assert within.tuned.changes["rise_mv_per_s"] == within.best.changes["rise_mv_per_s"] != now.rise_mv_per_s
    assert within.tuned.changes["engage_rpm"] == within.best.changes["engage_rpm"] != now.engage_rpm


def test_what_is_left_is_not_recommended_if_the_present_settings_are_better(folding_tuned, monkeypatch):
    now = folding_tuned.bike.firmware_settings

    def again(held):
        changes = folding_tuned.changes | held
        scores = replace(folding_tuned.before.scores, drive=folding_tuned.before.scores.drive + 0.1)
        tuned = with_settings(folding_tuned.bike, changes)
        after = replace(folding_tuned.after, scores=scores)
        return replace(folding_tuned, changes=changes, tuned=tuned, after=after)

    refusal = Refusal(
        "rule fails, 2 against 1.", lambda bike: read(bike, "rise_mv_per_s") == now.rise_mv_per_s
    )
    monkeypatch.setattr(
        back_off,
        "check_rules",
        lambda tuned, seed, done: RulesCheck([], None, [] if refusal.holds(tuned.tuned) else [refusal], []),
    )
    within = within_rules(folding_tuned, again, 1, no_count)
    assert all(within.tuned.changes[name] == getattr(now, name) for name in NAMES)


def test_what_no_rule_refuses_stays_the_best_and_nothing_is_said(bench, folding_tuned):
    within = bench(lambda bike: True)
    assert within.tuned is folding_tuned
    assert within.sentence == ""


def test_a_refused_rise_goes_as_far_as_the_rule_lets_it_and_the_price_is_said(bench, folding_tuned):
    best = folding_tuned.changes["rise_mv_per_s"]
    assert (read(folding_tuned.bike, "rise_mv_per_s"), best > 1200) == (600, True)
    within = bench(lambda bike: read(bike, "rise_mv_per_s") <= 1000)
    # A half of the way by ratio; three quarters were too far.
    assert within.tuned.changes["rise_mv_per_s"] == pytest.approx((600 * best) ** 0.5, abs=5.1)
    others = [name for name in folding_tuned.changes if name not in ("rise_mv_per_s", "fall_mv_per_s")]
    assert all(within.tuned.changes[name] == folding_tuned.changes[name] for name in others)
    assert f"rise_mv_per_s {within.tuned.changes['rise_mv_per_s']} instead of {best}" in within.sentence
    assert "the score is " in within.sentence
    assert within.sentence.endswith("With the best settings: rule 0 fails, 2 against 1.")


def test_of_two_ways_back_the_one_with_the_least_score_is_taken(bench, folding_tuned):
    # One setting held back cost less than two.
    limit = folding_tuned.changes["battery_foldback_mv"]
    within = bench(
        lambda bike: read(bike, "battery_foldback_mv") < limit or read(bike, "rise_mv_per_s") < 700
    )
    assert set(within.tuned.held) == {"battery_foldback_mv"}


def test_what_only_holds_with_two_groups_as_they_were_is_found(bench):
    within = bench(
        lambda bike: read(bike, "rise_mv_per_s") < 700 and read(bike, "battery_foldback_mv") < 33000
    )
    assert not within.check.refused
    assert {"rise_mv_per_s", "battery_foldback_mv"} <= set(within.tuned.held)
    assert "release_rpm" not in within.tuned.held


def test_a_rule_that_nothing_but_the_present_settings_meets_leaves_everything_as_it_is(bench, folding_tuned):
    now = folding_tuned.bike.firmware_settings.as_dict()
    within = bench(lambda bike: bike.firmware_settings.as_dict() == now)
    assert not within.check.refused
    assert all(now[name] == value for name, value in within.tuned.changes.items())


def test_a_second_rule_that_the_way_back_breaks_is_met_as_well(bench):
    # The lower rise that cures the first breaks the second, unless the battery's fold-back stays too.
    within = bench(
        lambda bike: read(bike, "rise_mv_per_s") <= 1000,
        lambda bike: read(bike, "rise_mv_per_s") > 1000 or read(bike, "battery_foldback_mv") < 33000,
    )
    assert not within.check.refused


@given(data=st.data())
@settings(max_examples=40, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
def test_whatever_the_rules_refuse_of_what_was_changed_in_the_end_they_refuse_nothing(
    bench, folding_tuned, data
):
    now = folding_tuned.bike.firmware_settings.as_dict()
    rules = []
    for _ in range(data.draw(st.integers(1, 3))):
        names = data.draw(st.lists(st.sampled_from(NAMES), min_size=1, max_size=3, unique=True))
        share = data.draw(st.floats(0.0, 1.0))

        def holds(bike, names=tuple(names), share=share):
            return any(
                abs(read(bike, name) - now[name]) <= share * abs(folding_tuned.changes[name] - now[name])
                for name in names
            )

        rules.append(holds)
    within = bench(*rules)
    assert not within.check.refused
    assert all(holds(within.tuned.tuned) for holds in rules)


def test_every_setting_that_tuning_changes_belongs_to_a_group(folding_tuned):
    grouped = {name for group in GROUPS for name in group}
    assert set(folding_tuned.changes) - grouped == {
        "open_map_full_w"
    }  # Worked out, and bounded by the place.


@pytest.mark.slow
@pytest.mark.parametrize("name", ["trike", "tandem", "folding"])
@pytest.mark.parametrize("priority", ["calm", "balanced"])
def test_really_ridden_nothing_is_refused_in_the_end_and_the_score_is_no_worse_than_now(name, priority):
    bike = dict(bikes())[name]
    within = ended(name, bike, priority).within
    assert within.check.refusals == []
    assert within.tuned.after.scores.total <= within.tuned.before.scores.total
