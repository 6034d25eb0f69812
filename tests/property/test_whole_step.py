"""Statements over the whole step with all settings symbolic are proved, and all that they take for given.

Quick pieces run each time. All of it is slow: `uv run pytest -m slow tests/property/test_whole_step.py`.
"""

import pytest

from host_sim.proof.properties import PROPERTIES
from host_sim.proof.whole import jobs
from host_sim.proof.whole.evidence import INDUCTION, in_words
from host_sim.proof.whole.exact_all import EXACT_JOBS
from host_sim.proof.whole.jobs import run_job
from host_sim.proof.whole.program import Refused
from host_sim.proof.whole.solving import PROVED, REFUTED, UNKNOWN, Facts
from host_sim.proof.whole.statements import STATEMENTS
from host_sim.proof.whole.terms import at_most, choose, divide, integer, less, multiply
from tests.proving import job_names
from tests.quick_first import quick_first

QUICK = [name for name in job_names() if name.startswith(("edge ", "gate ", "clock", "kinds", "constructor"))]


@pytest.mark.parametrize("job", quick_first(9, QUICK))
def test_what_an_edge_tells_and_keeps_is_proved_for_all_settings(job: str):
    result = run_job(job)
    assert (result.verdict, result.what) == (PROVED, "")
    assert result.claims > 0


@pytest.mark.long
@pytest.mark.parametrize("job", EXACT_JOBS)
def test_what_a_function_gives_is_proved_for_all_settings(job: str):
    result = run_job(job)
    assert (result.verdict, result.what) == (PROVED, "")
    assert result.claims > 0


@pytest.mark.slow  # Two minutes on one core.
@pytest.mark.parametrize("job", [name for name in job_names() if name not in (*QUICK, *EXACT_JOBS)])
def test_a_statement_or_a_piece_of_the_induction_is_proved_for_all_settings(job: str):
    result = run_job(job)
    assert (result.verdict, result.what) == (PROVED, "")
    assert result.claims > 0


def test_every_statement_serves_a_property_that_brings_its_induction_along():
    used = {name for stated in PROPERTIES for name in stated.statements}
    assert used == set(STATEMENTS)
    for stated in PROPERTIES:
        if stated.statements:
            assert set(INDUCTION) < set(stated.jobs), stated.name
    assert {job for stated in PROPERTIES for job in stated.jobs} == set(job_names())


def test_the_evidence_in_words_names_every_setting_with_its_range():
    words = in_words(("step cut",), ("step cut, kind 0",))
    assert words["symbolic"]["settings"]["release_rpm"] == [4, 59]
    assert len(words["symbolic"]["settings"]) == 63
    assert words["shown_by"][:3] == ["step cut, kind 0", "step cut, kind 1", "step cut, kind 2"]
    assert words["assumed"][0] == "settings are legal: the constructor accepts them"


def test_the_words_of_exact_contracts_name_functions_arguments_and_conditions():
    words = in_words((), EXACT_JOBS)
    assert words["symbolic"]["arguments"]["Ceilings.step"]["motor_decicelsius"] == [-500, 3_000]
    assert "Crank.settle: nothing pending" in words["assumed"]
    assert len(words["statements"]) == len(words["shown_by"])
    assert in_words((), ()) is None


def test_the_words_of_a_property_name_the_contracts_of_its_components_and_what_they_assume():
    backward = next(stated for stated in PROPERTIES if stated.name == "backward")
    words = in_words(backward.statements, backward.jobs)
    assert {"step backward", "Crank.settle", "joined OutputGuard.permit"} <= {
        one["name"] for one in words["statements"]
    }
    assert "Crank.settle: nothing pending" in words["assumed"]
    assert "Crank.settle" in words["symbolic"]["arguments"]


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


def test_what_is_assumed_of_the_settings_can_be_met():
    assert run_job("kinds complete").claims == 2


def test_a_firmware_that_the_interpreter_refuses_is_not_proved_and_the_place_is_named(monkeypatch):
    def refuse(name: str):
        raise Refused("firmware/controller.py:96: Try")

    monkeypatch.setattr(jobs, "pieces_of", refuse)
    result = jobs.run_job("step cut, kind 0")
    assert (result.verdict, result.claims) == (UNKNOWN, 0)
    assert result.what == "the firmware can not be read: firmware/controller.py:96: Try"
