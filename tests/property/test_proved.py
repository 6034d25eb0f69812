"""All lemmas and all steps of components are proved, and every path's numbers come to what was predicted.

The properties themselves, whole steps and all, are proved in test_whole_step.py, which is slow.
"""

import pytest

from host_sim.proof.lemma_list import LEMMAS
from host_sim.proof.numbers import Failure, Numbers
from host_sim.proof.properties import PROPERTIES
from host_sim.proof.prover import PROVED, vector_lines
from tests.paths.all_paths import EXPLORED

pytestmark = pytest.mark.long


def test_every_lemma_is_proved(proved):
    assert [(name, result.what) for name, result in proved.items() if result.verdict != PROVED] == []
    assert set(proved) == set(EXPLORED)


def test_every_path_taken_on_numbers_comes_to_what_the_solver_predicted(proved):
    lemmas = proved
    ridden = 0
    for name, result in lemmas.items():
        if EXPLORED[name].must_fail:
            continue
        for vector in result.vectors:
            plain = Numbers(vector.values)
            EXPLORED[name].run(plain)
            assert plain.outcomes == vector.outcome
            ridden += 1
    assert ridden == sum(lemma.paths for lemma in lemmas.values())
    assert ridden > 4_000


def test_the_longest_gap_between_steps_is_exact(proved):
    lemmas = proved
    beyond = lemmas["crank_standstill_too_late"]
    assert beyond.verdict == PROVED  # Wanted to fail, and did.
    assert beyond.values["step_gap"] == 532_620_912
    with pytest.raises(Failure):
        LEMMAS["crank_standstill_too_late"].run(Numbers(beyond.values))


def test_every_lemma_serves_a_property():
    used = {name for stated in PROPERTIES for name in stated.lemmas}
    assert used == set(LEMMAS)


def test_a_vector_is_one_line_of_plain_numbers(proved):
    lemmas = proved
    lines = vector_lines({"ticks": lemmas["ticks"]})
    assert len(lines) == 2
    name, values, outcome = lines[0].split("|")
    assert name == "ticks"
    assert {pair.split("=")[0] for pair in values.split(",")} == {"later", "earlier"}
    assert outcome.startswith("difference=")
