"""Statements over the whole step with all settings symbolic are proved, contracts and constructors too."""

import pytest

from host_sim.proof.whole.contracts import BY_TITLE
from host_sim.proof.whole.jobs import run_job
from host_sim.proof.whole.solving import PROVED, REFUTED, Facts
from host_sim.proof.whole.statements import STATEMENTS
from host_sim.proof.whole.terms import at_most, choose, divide, integer, less, multiply

JOBS = [f"{one.name}, kind {kind}" for one in STATEMENTS.values() for kind in one.kinds]
pytestmark = pytest.mark.slow  # On a busy machine the solver may run into its limit of time.


@pytest.mark.parametrize("job", JOBS)
def test_a_statement_over_the_step_is_proved_for_all_settings(job: str):
    result = run_job(job)
    assert (result.verdict, result.what) == (PROVED, "")
    assert result.claims > 0


@pytest.mark.parametrize("title", BY_TITLE)
def test_a_contract_holds_for_its_function(title: str):
    result = run_job(f"contract {title}")
    assert (result.verdict, result.what) == (PROVED, "")


@pytest.mark.parametrize("kind", [0, 1, 2])
def test_a_new_controller_meets_the_invariant(kind: int):
    result = run_job(f"constructor, kind {kind}")
    assert (result.verdict, result.what) == (PROVED, "")
    assert result.claims > 40


@pytest.mark.parametrize("job", ["kinds complete", "clock is relative"])
def test_the_split_by_kinds_is_complete_and_only_differences_of_times_matter(job: str):
    assert run_job(job).verdict == PROVED


def test_a_claim_that_does_not_follow_is_refuted_with_numbers():
    x, y = integer("x", 0, 100), integer("y", 1, 100)
    share = divide(multiply(x, 100), y)
    larger = choose(less(x, y), y, x)
    facts = Facts([less(x, y)])
    assert facts.prove(at_most(share, 99)).verdict == PROVED
    assert facts.prove(at_most(y, larger)).verdict == PROVED
    refuted = facts.prove(at_most(share, 98))
    assert refuted.verdict == REFUTED
    assert refuted.values["x"] * 100 // refuted.values["y"] == 99


def test_what_is_assumed_of_a_step_can_be_met():
    result = run_job("kinds complete")
    assert result.claims == 2
