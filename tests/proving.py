"""All lemmas, explored in a process of their own if asked for, and the jobs of all proofs."""

from concurrent.futures import ProcessPoolExecutor
from multiprocessing import get_context
from typing import Any

from host_sim.proof.whole.evidence import INDUCTION, jobs_of
from host_sim.proof.whole.exact_all import EXACT_JOBS
from host_sim.proof.whole.statements import STATEMENTS


def job_names() -> list[str]:
    """Return the jobs of all statements, of the induction and of the exact contracts."""
    return [*jobs_of(tuple(STATEMENTS)), *INDUCTION, *EXACT_JOBS]


def prove_lemmas() -> Any:
    """Return the result of every lemma by its name."""
    from host_sim.proof.lemma_list import LEMMAS
    from host_sim.proof.properties import Property
    from host_sim.proof.prover import prove

    return prove([Property("lemmas", "", (), tuple(LEMMAS))], lambda done, of_all: None)[1]


def prove_in_a_new_process() -> Any:
    """Do the same where no terms of other tests change the solver's course."""
    with ProcessPoolExecutor(1, mp_context=get_context("spawn")) as pool:
        return pool.submit(prove_lemmas).result()
