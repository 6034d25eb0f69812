"""More rides if none tested the rule, and what is judged when the rides are cut short."""

from random import Random

import pytest

from host_sim.bikes.load import load_bike
from host_sim.bikes.model import Bike
from host_sim.rules.case import Case, Lines, Scenario
from host_sim.rules.catalogue import RULES, rule_named
from host_sim.rules.judge import Judging, judge
from host_sim.rules.probe import Probe
from host_sim.rules.rule import Rule

TRIKE = load_bike("cargo_trike")


class Standing(Scenario):
    """A bicycle that stands for a second."""

    sentence = "the bicycle stands"

    def __init__(self, name: str = "standing") -> None:
        self.name = name

    def lines(self, bike: Bike, draw: Random, seed: int) -> tuple[float, Lines] | None:
        return 1.0, [{"at_s": 0, "cadence_rpm": 0}]


class Impossible(Standing):
    """What no bike can ride."""

    def lines(self, bike: Bike, draw: Random, seed: int) -> None:
        return None


def rule(name: str, first: int, *kinds: Scenario) -> Rule:
    """Return a rule whose probe measures its ride's number, on rides from number `first` on."""

    class NumberFrom(Probe):
        def end(self) -> None:
            if self.case.seed >= first:
                self.saw(float(self.case.seed))

    def probe(case: Case) -> Probe:
        return NumberFrom(case)

    return Rule(name, "A ride's number is low.", "number", lambda bike: 1000.0, "none", kinds, probe)


def silent(finished: int, jobs: int) -> None:
    """Nobody watches."""


def test_more_rides_are_ridden_until_one_comes_to_the_point_and_a_sentence_says_so() -> None:
    told: list[tuple[int, int]] = []
    said: list[str] = []
    late = rule("late", 5, Standing())
    judging = Judging(TRIKE, [late], 1, 2)
    judging.ride(lambda finished, jobs: told.append((finished, jobs)), 1, said.append)
    (verdict,) = judging.verdicts()
    assert (verdict.outcome, verdict.measured, verdict.seed) == ("holds", 6.0, 6)
    assert verdict.ridden == {"standing": 6}  # Numbers 1 and 2 as asked for, 3 and 4, 5 and 6.
    assert judging.ridden == {"standing": 2}
    assert said == ["not yet tested: late; up to 6 more rides of these kinds follow: standing"]
    assert told[-1] == (6, 6)


def test_after_four_times_as_many_rides_a_rule_was_not_shown() -> None:
    never = rule("never", 1000, Standing(), Standing("standing again"))
    (verdict,) = judge(TRIKE, [never], 1, 2, silent, workers=1)
    assert (verdict.outcome, verdict.holds, verdict.fails, verdict.seed) == ("not shown", None, False, None)
    assert verdict.ridden == {"standing": 8, "standing again": 8}
    assert verdict.why_not_shown == "none of 16 rides tested it (standing, standing again)"


def test_further_rides_are_measured_only_by_rules_that_were_not_shown() -> None:
    early, late = judge(
        TRIKE, [rule("early", 1, Standing()), rule("late", 4, Standing())], 1, 2, silent, workers=1
    )
    assert (early.measured, early.ridden) == (2.0, {"standing": 2})
    assert (late.measured, late.ridden) == (4.0, {"standing": 4})


def test_a_kind_that_the_bike_can_not_ride_is_not_tried_again() -> None:
    said: list[str] = []
    (verdict,) = judge(TRIKE, [rule("no", 0, Impossible("impossible"))], 1, 3, silent, 1, said.append)
    assert verdict.outcome == "not shown"
    assert verdict.why_not_shown == "this bike can't ride any of its rides"
    assert said == []
    (verdict,) = judge(TRIKE, [rule("some", 0, Impossible("impossible"), Standing())], 1, 3, silent, 1)
    assert (verdict.outcome, verdict.ridden) == ("holds", {"standing": 3})


def cut_short(rules: list[Rule], after: int, rides: int, workers: int) -> Judging:
    """Interrupt the rides when `after` of them are done."""

    def done(finished: int, jobs: int) -> None:
        if finished == after:
            raise KeyboardInterrupt

    judging = Judging(TRIKE, rules, 1, rides)
    with pytest.raises(KeyboardInterrupt):
        judging.ride(done, workers)
    return judging


def test_what_was_ridden_until_an_interruption_is_judged() -> None:
    kinds = (Standing("a"), Standing("b"))
    judging = cut_short([rule("number", 0, *kinds)], 5, 4, 1)
    (verdict,) = judging.verdicts()
    assert judging.ridden == {"a": 3, "b": 2}
    assert (verdict.outcome, verdict.measured) == ("holds", 3.0)


def test_a_rule_with_a_kind_not_ridden_yet_was_not_shown_but_one_that_fails_has_failed() -> None:
    kinds = (Standing("a"), Standing("b"))
    failing = Rule("fails", "Never.", "number", lambda bike: 0.0, "none", kinds, rule("x", 0, *kinds).probe)
    holding, broken = cut_short([rule("number", 0, *kinds), failing], 1, 4, 1).verdicts()
    assert (holding.outcome, holding.why_not_shown) == ("not shown", "not ridden yet: b")
    assert (broken.outcome, broken.ridden) == ("fails", {"a": 1, "b": 0})


@pytest.mark.long
def test_an_interruption_with_worker_processes_leaves_about_as_many_rides_of_each_kind() -> None:
    some = [rule_named("stop time"), rule_named("first help")]
    judging = cut_short(some, 7, 5, 2)
    assert judging.ridden == {"sudden stop": 3, "fading legs": 2, "first edges": 2}
    stop, first = judging.verdicts()
    alone = judge(TRIKE, some, 1, 2, silent, workers=1)
    assert first.measured == alone[1].measured
    assert stop.outcome == "holds"


@pytest.mark.long
def test_without_a_compiler_many_rides_are_interpreted_and_a_sentence_says_so(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setenv("CC", "no-such-compiler")
    monkeypatch.setattr("host_sim.rules.judge.COMPILING_PAYS", 4)
    said: list[str] = []
    (verdict,) = judge(TRIKE, [rule_named("stop time")], 1, 2, silent, 2, said.append)
    (alone,) = judge(TRIKE, [rule_named("stop time")], 1, 2, silent, workers=1)
    assert (verdict.outcome, verdict.measured) == (alone.outcome, alone.measured)
    assert len(said) == 1
    assert said[0].startswith("rides are interpreted, some twenty times slower: there is no compiled copy: ")


def test_a_rule_of_nobody_s_catalogue_is_ridden_in_this_process() -> None:
    strange = rule("strange", 0, Standing())
    assert strange not in RULES
    (verdict,) = judge(TRIKE, [strange], 1, 6, silent, workers=2)
    assert verdict.ridden == {"standing": 6}
