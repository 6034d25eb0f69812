"""Nothing is written that breaks a rule, fails in the fault matrix, or does worse than before."""

from dataclasses import replace
from types import SimpleNamespace

import pytest

from host_sim.bikes.load import load_bike
from host_sim.rules.catalogue import rule_named
from host_sim.rules.fault_matrix import FAILS, HOLDS, NO_FAULT_ROW, UNSEEN, Cell, Matrix
from host_sim.rules.judge import Finding, Verdict
from host_sim.tuning import rules_check
from host_sim.tuning.rules_check import check_rules
from host_sim.tuning.variant import with_settings


def no_count(finished, count):
    """Nobody watches."""


def tuned_to(folding_tuned, changes):
    """Return the folding bicycle as if these changes had been recommended."""
    bike = load_bike("folding")
    return replace(folding_tuned, bike=bike, tuned=with_settings(bike, changes), changes=changes)


def cell(row, verdict, bike):
    measured = SimpleNamespace(over_power_j=50.0, over_speed_j=0.0, unpedalled_s=0.0, braked_s=0.0)
    return Cell(row, 12.0, "pedalling", measured, verdict, ["311 W of 250 W, 50 J too much in 2.0 s"], "")


def matrix_that_says(verdict_of):
    """Return a stand-in for riding the matrix: `verdict_of(bike)` is what every cell comes to."""

    def ride(bike, seed, done, row=None):
        name = row or "shunt: dead"
        return Matrix(bike, [name], [cell(name, verdict_of(bike), bike)])

    return ride


@pytest.fixture
def matrix_holds(monkeypatch):
    monkeypatch.setattr(rules_check, "ride_matrix", matrix_that_says(lambda bike: HOLDS))


@pytest.fixture
def rules_hold(monkeypatch):
    monkeypatch.setattr(rules_check, "RULES", ())


def test_a_release_cadence_just_below_the_engage_cadence_is_refused_with_its_number(
    folding_tuned, matrix_holds, monkeypatch
):
    # Really ridden: steady legs at the threshold hunt.
    rule = rule_named("no hunting at the thresholds")
    monkeypatch.setattr(rules_check, "RULES", (rule,))
    monkeypatch.setattr(rules_check, "RIDES", 3)
    tuned = tuned_to(folding_tuned, {"engage_rpm": 22, "release_rpm": 21, "rise_mv_per_s": 900})
    (refused,) = check_rules(tuned, 1, no_count).refused
    assert refused.sentence.startswith("no hunting at the thresholds fails, ")
    assert " against 2 " in refused.sentence
    # It knows what cures it.
    assert not refused.holds(with_settings(tuned.tuned, {"rise_mv_per_s": 600}))
    assert refused.holds(with_settings(tuned.tuned, {"release_rpm": 12}))


def test_a_cell_that_fails_is_refused_with_its_number(folding_tuned, rules_hold, monkeypatch):
    def verdict(bike):
        return FAILS if bike.firmware_settings.rise_mv_per_s > 1000 else HOLDS

    monkeypatch.setattr(rules_check, "ride_matrix", matrix_that_says(verdict))
    tuned = tuned_to(folding_tuned, {"engage_rpm": 22, "rise_mv_per_s": 1200})
    (refused,) = check_rules(tuned, 1, no_count).refused
    assert "Fault matrix: shunt: dead at 12 km/h, pedalling, fails: 311 W of 250 W" in refused.sentence
    assert refused.holds(with_settings(tuned.tuned, {"rise_mv_per_s": 990}))
    assert not refused.holds(with_settings(tuned.tuned, {"engage_rpm": 20}))


def test_a_cell_that_held_before_and_can_not_be_seen_any_more_is_refused(
    folding_tuned, rules_hold, monkeypatch
):
    tuned = tuned_to(folding_tuned, {"engage_rpm": 25})
    monkeypatch.setattr(
        rules_check, "ride_matrix", matrix_that_says(lambda bike: HOLDS if bike is tuned.bike else UNSEEN)
    )
    (refusal,) = check_rules(tuned, 1, no_count).refusals
    assert "shunt: dead at 12 km/h, pedalling, held before: 311 W" in refusal
    monkeypatch.setattr(rules_check, "ride_matrix", matrix_that_says(lambda bike: UNSEEN))
    assert check_rules(tuned, 1, no_count).refusals == []  # As before.


def test_a_rule_that_held_before_and_was_not_shown_any_more_is_refused(
    folding_tuned, matrix_holds, monkeypatch
):
    rule = rule_named("steady help")
    monkeypatch.setattr(rules_check, "RULES", (rule,))
    tuned = tuned_to(folding_tuned, {"engage_rpm": 25})

    def judged(bike, rules, seed, rides, done):
        findings = [Finding(rule.name, "steady cadence", 1, 0.0)] if bike is tuned.bike else []
        return [Verdict(rule, bike, findings)]

    monkeypatch.setattr(rules_check, "judge", judged)
    (refusal,) = check_rules(tuned, 1, no_count).refusals
    assert "steady help holds now and was not shown for the tuned bike" in refusal
    monkeypatch.setattr(
        rules_check, "judge", lambda bike, rules, seed, rides, done: [Verdict(rule, bike, [])]
    )
    assert check_rules(tuned, 1, no_count).refusals == []


def test_a_cell_that_the_bike_fails_already_is_told_and_keeps_nothing_back(
    folding_tuned, rules_hold, monkeypatch
):
    monkeypatch.setattr(rules_check, "ride_matrix", matrix_that_says(lambda bike: FAILS))
    check = check_rules(tuned_to(folding_tuned, {"engage_rpm": 25}), 1, no_count)
    assert check.refusals == []
    (told,) = check.as_before
    assert told.startswith("Fault matrix: shunt: dead at 12 km/h, pedalling, fails: 311 W of 250 W")


@pytest.mark.parametrize(
    ("before", "after", "refused"), [(3.0, 3.0, 0), (3.0, 2.5, 0), (3.0, 3.1, 1), (1.0, 3.0, 1)]
)
def test_a_rule_that_fails_already_keeps_the_file_back_only_if_it_gets_worse(
    folding_tuned, matrix_holds, monkeypatch, before, after, refused
):
    rule = rule_named("no hunting at the thresholds")
    monkeypatch.setattr(rules_check, "RULES", (rule,))
    tuned = tuned_to(folding_tuned, {"engage_rpm": 25})

    def judged(bike, rules, seed, rides, done):
        measured = before if bike is tuned.bike else after
        return [Verdict(rule, bike, [Finding(rule.name, "steady cadence", 1, measured)])]

    monkeypatch.setattr(rules_check, "judge", judged)
    check = check_rules(tuned, 1, no_count)
    assert (len(check.refusals), len(check.as_before)) == (refused, 1 - refused)


def test_as_many_rides_as_verify_and_every_rule_and_row(folding_tuned, monkeypatch):
    asked = []

    def judged(bike, rules, seed, rides, done):
        asked.append((bike, len(rules), rides))
        return []

    monkeypatch.setattr(rules_check, "judge", judged)
    monkeypatch.setattr(rules_check, "ride_matrix", lambda bike, seed, done, row=None: asked.append(row) or
                        Matrix(bike, [NO_FAULT_ROW], []))  # fmt: skip
    tuned = tuned_to(folding_tuned, {"engage_rpm": 25})
    check_rules(tuned, 1, no_count)
    assert asked == [(tuned.tuned, len(rules_check.RULES), 50), None]
    assert len(rules_check.RULES) > 25
