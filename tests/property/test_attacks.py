"""Mistakes that the proof was attacked with: each is refuted by the formula or the calls of one function.

The job is asked for a firmware that has the mistake. That it is proved without is tested in
test_whole_step.py.
"""

from importlib import import_module
from pathlib import Path

import pytest

from host_sim.proof.properties import PROPERTIES
from host_sim.proof.whole.jobs import pieces_of
from host_sim.proof.whole.solving import LIMITS, REFUTED, Facts
from host_sim.proof.whole.term import fresh_terms
from tests.mutation.proof_numbers import refuted_by_numbers
from tests.planting import FIRMWARE, Mistake, planted
from tests.property.attacks import ATTACKS
from tests.property.more_attacks import MORE_ATTACKS
from tests.quick_first import quick_first

TURNS = 40
ALL_ATTACKS = {**ATTACKS, **MORE_ATTACKS}


@pytest.fixture
def mistaken(monkeypatch, tmp_path: Path):
    """Let the interpreter read a file of the firmware with a mistake in it."""

    def plant(mistake: Mistake) -> None:
        changed = tmp_path / "changed.py"
        changed.write_text(planted((FIRMWARE / mistake.file).read_text(encoding="utf-8"), mistake))
        module = import_module("firmware." + mistake.file.removesuffix(".py").replace("/", "."))
        monkeypatch.setattr(module, "__file__", str(changed))

    return plant


def is_refuted(job: str) -> bool:
    """Tell whether a claim of a job is refuted, by numbers or by the solver."""
    for facts, claims in pieces_of(job):
        asked = [one for one in claims if one[1] is not True]
        if refuted_by_numbers(facts, asked) is not None:
            return True
        known = Facts(facts)
        if any(known.prove(claim, LIMITS[:1], TURNS).verdict == REFUTED for _, claim in asked):
            return True
        if any(known.prove(claim).verdict == REFUTED for _, claim in asked):
            return True
    return False


@pytest.mark.parametrize("attack", quick_first(10, ALL_ATTACKS))
def test_a_mistake_is_refuted_by_the_formula_or_the_calls_of_its_function(attack: str, mistaken):
    row = ALL_ATTACKS[attack]
    mistaken(row.mistake)
    with fresh_terms():  # What was asked before must not change the solver's course.
        assert is_refuted(row.job)


@pytest.mark.parametrize("attack", ALL_ATTACKS)
def test_the_property_whose_sentence_a_mistake_contradicts_is_the_one_that_fails(attack: str):
    row = ALL_ATTACKS[attack]
    stated = next(one for one in PROPERTIES if one.name == row.stated)
    assert row.job in stated.jobs


def test_most_properties_are_attacked():
    assert len({row.stated for row in ALL_ATTACKS.values()}) >= 14
