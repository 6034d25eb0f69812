"""Verdicts: the same numbers however many processes ride, and a command that shows the worst case again."""

from pathlib import Path

import pytest

from host_sim.bench.course import Course, load_course
from host_sim.bikes.load import example_names, load_bike
from host_sim.rules.case import Scenario
from host_sim.rules.catalogue import RULES, rule_named
from host_sim.rules.judge import Finding, Verdict, judge, measure
from host_sim.rules.rule import Rule
from tests.quick_first import quick_first
from tests.ride.riding import bike_with
from tests.rules.course_words import written

SOME = [
    rule_named(name) for name in ("stop time", "cut-off distance", "brake cut", "output range", "clock wrap")
]
SCENARIOS = list({scenario.name: scenario for rule in RULES for scenario in rule.scenarios}.values())


def numbers(verdict: Verdict) -> tuple[str, str, float | None, str | None, int | None]:
    return verdict.rule.name, verdict.outcome, verdict.measured, verdict.scenario, verdict.seed


def silent(finished: int, jobs: int) -> None:
    """Nobody watches."""


@pytest.mark.long
def test_one_process_and_two_come_to_the_same_verdicts() -> None:
    bike = load_bike("cargo_trike")
    rules = [rule for rule in SOME if rule.name != "output range"]
    alone = judge(bike, rules, 5, 2, silent, workers=1)
    shared = judge(bike, rules, 5, 2, silent, workers=2)
    assert [numbers(verdict) for verdict in alone] == [numbers(verdict) for verdict in shared]
    assert all(verdict.measured is not None for verdict in alone)


@pytest.mark.parametrize("workers", quick_first(1, [1, 2]))
def test_progress_is_told_up_to_the_last_ride(workers: int) -> None:
    told: list[tuple[int, int]] = []

    def done(finished: int, jobs: int) -> None:
        told.append((finished, jobs))

    judge(load_bike("folding"), [rule_named("stop time")], 0, 3, done, workers=workers)
    assert told[-1] == (6, 6)  # Sudden stop and fading legs, three rides of each.


@pytest.mark.parametrize(
    "name", quick_first(3, ["stop time", "first help", "shunt dead", "rise rate", "clock wrap"])
)
def test_the_worst_ride_alone_gives_the_worst_number_again(name: str) -> None:
    bike = load_bike("tandem")
    rule = rule_named(name)
    if name == "rise rate":
        rule = narrowed(rule, ("power steps", "brown-out"))
    worst = judge(bike, [rule], 20, 2, silent, workers=1)[0]
    assert worst.measured is not None
    assert worst.seed is not None
    again = judge(bike, [rule], worst.seed, 1, silent, workers=1)[0]
    assert numbers(again) == numbers(worst)


def narrowed(rule: Rule, names: tuple[str, ...]) -> Rule:
    """Return a rule that looks at some of its kinds of rides only."""
    kinds = tuple(scenario for scenario in rule.scenarios if scenario.name in names)
    assert len(kinds) == len(names)
    return Rule(rule.name, rule.sentence, rule.unit, rule.limit, rule.source, kinds, rule.probe)


def test_other_numbers_give_other_rides() -> None:
    bike = load_bike("cargo_trike")
    rule = rule_named("first help")
    found = {measure(bike, rule.scenarios[0], seed, [rule])[0].measured for seed in range(3)}
    assert len(found) == 3


def test_of_equal_findings_the_first_number_and_name_stand_for_all_in_any_order() -> None:
    rule = rule_named("output range")
    bike = load_bike("cargo_trike")
    findings = [
        Finding(rule.name, "sudden stop", 4, 10.0),
        Finding(rule.name, "nudges", 3, 10.0),
        Finding(rule.name, "hilly ride", 3, 10.0),
        Finding(rule.name, "hilly ride", 1, 9.0),
    ]
    for order in (findings, findings[::-1]):
        verdict = Verdict(rule, bike, order)
        assert (verdict.measured, verdict.seed, verdict.scenario) == (10.0, 3, "hilly ride")


def test_a_rule_without_an_object_does_not_apply_and_is_not_ridden() -> None:
    bike = load_bike("folding")
    verdict = judge(bike, [rule_named("throttle release")], 0, 2, silent, workers=1)[0]
    assert (verdict.applies, verdict.holds) == (False, True)
    assert (verdict.measured, verdict.limit, verdict.margin, verdict.seed) == (None, None, None, None)


@pytest.mark.parametrize(
    ("rule", "bike", "changes"),
    [
        ("throttle release", "cargo_trike", {"throttle": {"fitted": False}}),
        ("start-up speed", "cargo_trike", {"throttle": {"fitted": False}}),
        ("start-up speed", "tandem", {}),  # British Columbia lets the throttle drive at any speed.
        ("least speed to engage", "cargo_trike", {}),  # Only British Columbia asks for 3 km/h.
        (
            "selector shares",
            "cargo_trike",
            {"selector": {"kind": "none", "positions": None, "shares_percent": []}},
        ),
        ("brake cut", "cargo_trike", {"brakes": {"switches": "none"}}),
        ("surge", "cargo_trike", {"shunt": {"fitted": False}}),
        ("power overshoot", "folding", {}),
        ("power settling", "folding", {}),
        ("shunt dead", "folding", {}),
        ("shunt stuck", "folding", {}),
        ("heat fold-back", "folding", {}),
        ("lever wires", "folding", {}),
        ("backward edges", "folding", {}),
    ],
)
def test_a_rule_has_no_limit_where_the_part_or_the_law_is_missing(
    rule: str, bike: str, changes: dict[str, object]
) -> None:
    assert rule_named(rule).limit(bike_with(bike, **changes)) is None


@pytest.mark.parametrize("name", example_names())
@pytest.mark.parametrize("scenario", SCENARIOS, ids=[scenario.name for scenario in SCENARIOS])
def test_every_ride_can_be_written_down_as_a_course_file_and_read_again(
    scenario: Scenario, name: str, tmp_path: Path
) -> None:
    bike = load_bike(name)
    for seed in range(12):
        case = scenario.case(bike, seed)
        if case is None:
            continue
        path = tmp_path / "again.toml"
        path.write_text(written(case.course), encoding="utf-8")
        again = load_course(path)
        assert again.title == case.course.title
        assert again.seconds == case.course.seconds
        assert flat(again) == flat(case.course)


def flat(course: Course) -> list[dict[str, object]]:
    """Return every field of every stretch; percent and km/h cost the last digits."""
    return [{name: rounded(getattr(one, name)) for name in one.__slots__} for one in course.stretches]


def rounded(value: object) -> object:
    return round(value, 9) if isinstance(value, float) else value


def test_a_scenario_makes_another_course_for_every_number_and_the_same_for_the_same() -> None:
    bike = load_bike("cargo_trike")
    for scenario in SCENARIOS:
        courses = [scenario.case(bike, seed) for seed in (0, 0, 12)]
        if courses[0] is None:
            continue
        first, same, other = [flat(case.course) for case in courses if case is not None]
        assert first == same
        assert scenario.name == "loop stalls" or first != other, scenario.name


def test_a_ride_that_needs_a_missing_part_is_not_ridden() -> None:
    folding = load_bike("folding")
    missing = {scenario.name for scenario in SCENARIOS if scenario.case(folding, 0) is None}
    assert missing == {
        "throttle from rest",
        "selector positions",
        "motor gets hot",
        "lever faults",
        "throttle stuck",
        "shunt dead",
        "shunt stuck",
    }
