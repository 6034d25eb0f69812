"""All that is explored for path vectors, in processes of its own, and the jobs of all proofs."""

from concurrent.futures import ProcessPoolExecutor
from multiprocessing import get_context
from os import cpu_count

from host_sim.proof.prover import LemmaResult, prove_lemma
from host_sim.proof.whole.evidence import INDUCTION, jobs_of
from host_sim.proof.whole.exact_all import EXACT_JOBS
from host_sim.proof.whole.statements import STATEMENTS
from tests.paths.all_paths import EXPLORED


def job_names() -> list[str]:
    """Return the jobs of all statements, of the induction and of the exact contracts."""
    return [*jobs_of(tuple(STATEMENTS)), *INDUCTION, *EXACT_JOBS]


def explore_all() -> dict[str, LemmaResult]:
    """Return what comes of each lemma and each step of a component, by its name.

    In a process that has no terms yet, and each in a process of its own: terms of others would change the
    solver's course.
    """
    with ProcessPoolExecutor(1, mp_context=get_context("spawn")) as pool:
        return pool.submit(_explore_here).result()


def _explore_here() -> dict[str, LemmaResult]:
    with get_context("fork").Pool(cpu_count(), maxtasksperchild=1) as pool:
        return {result.name: result for result in pool.imap_unordered(_explore, EXPLORED)}


def _explore(name: str) -> LemmaResult:
    return prove_lemma(EXPLORED[name])
