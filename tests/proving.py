"""Explores all lemmas in a process of its own: the solver's terms of other tests would change its course."""

from concurrent.futures import ProcessPoolExecutor
from multiprocessing import get_context
from typing import Any


def _prove_all() -> Any:
    from host_sim.proof.lemma_list import LEMMAS
    from host_sim.proof.prover import prove_lemmas

    return prove_lemmas(list(LEMMAS), lambda done, of_all: None)


def prove_in_a_new_process() -> Any:
    """Return the result of every lemma by its name."""
    with ProcessPoolExecutor(1, mp_context=get_context("spawn")) as pool:
        return pool.submit(_prove_all).result()
