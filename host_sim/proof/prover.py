"""Runs lemmas and jobs, each once, and judges the properties that follow from them."""

import signal
import time
from collections.abc import Callable, Sequence
from contextlib import nullcontext
from multiprocessing import get_context
from os import cpu_count

from host_sim.proof.explorer import Explorer, Unknown, Vector
from host_sim.proof.lemma_list import LEMMAS, Lemma
from host_sim.proof.merging import merging
from host_sim.proof.numbers import Failure
from host_sim.proof.properties import Property
from host_sim.proof.whole.jobs import JobResult, run_job

PROVED = "proved"
REFUTED = "refuted"
UNKNOWN = "unknown"
LEMMA, JOB = "lemma", "job"
LONG = ("step keeps", "guard_permit", "pedalling", "fault_step")


class LemmaResult:
    """The result of exploring a lemma: `verdict`, `paths`, `seconds`, `vectors`, and what went wrong.

    `ranges`: its symbols, each with its lowest and highest value.
    """

    __slots__ = ("name", "paths", "ranges", "seconds", "values", "vectors", "verdict", "what")

    def __init__(self, name: str) -> None:
        """Start without a result."""
        self.name = name
        self.verdict = UNKNOWN
        self.paths = 0
        self.seconds = 0.0
        self.what = ""
        self.values: dict[str, int] = {}
        self.vectors: list[Vector] = []
        self.ranges: dict[str, tuple[int, int]] = {}


class PropertyResult:
    """A property with its verdict: proved if all its parts are, else the worst verdict of a part.

    `paths` of its lemmas, `claims` of its jobs; `failing`, those of both that are not proved, and
    `failing_jobs`.
    """

    __slots__ = ("claims", "failing", "failing_jobs", "paths", "property", "seconds", "verdict")

    def __init__(
        self, stated: Property, lemmas: Sequence[LemmaResult], jobs: Sequence[JobResult] = ()
    ) -> None:
        """Judge the property by its lemmas and jobs."""
        self.property = stated
        self.paths = sum(lemma.paths for lemma in lemmas)
        self.claims = sum(job.claims for job in jobs)
        parts: list[LemmaResult | JobResult] = [*lemmas, *jobs]
        self.seconds = sum(part.seconds for part in parts)
        self.failing = [part for part in parts if part.verdict != PROVED]
        self.failing_jobs = [job for job in jobs if job.verdict != PROVED]
        verdicts = {lemma.verdict for lemma in self.failing}
        self.verdict = REFUTED if REFUTED in verdicts else UNKNOWN if verdicts else PROVED


def prove_lemma(lemma: Lemma) -> LemmaResult:
    """Explore all paths of one lemma."""
    result = LemmaResult(lemma.name)
    explorer = Explorer()
    started_s = time.perf_counter()
    try:
        with merging() if lemma.merged else nullcontext():
            explorer.explore(lemma.run)
        result.verdict = REFUTED if lemma.must_fail else PROVED
        result.what = "the bound is not exact: nothing fails beyond it" if lemma.must_fail else ""
    except Failure as failure:
        result.verdict = PROVED if lemma.must_fail else REFUTED
        result.what = failure.what
        result.values = failure.values
    except Unknown as unknown:
        result.what = f"the solver gave up: {unknown}"
    result.seconds = time.perf_counter() - started_s
    if not lemma.counted:
        result.paths = explorer.paths
        result.vectors = explorer.vectors
    result.ranges = explorer.ranges
    return result


def _leave_interrupts_to_the_parent() -> None:
    signal.signal(signal.SIGINT, signal.SIG_IGN)


def _show(task: tuple[str, str]) -> tuple[str, LemmaResult | JobResult]:
    kind, name = task
    return kind, prove_lemma(LEMMAS[name]) if kind == LEMMA else run_job(name)


def prove(
    properties: Sequence[Property], done: Callable[[int, int], None], workers: int | None = None
) -> tuple[list[PropertyResult], dict[str, LemmaResult]]:
    """Prove `properties`; return their results, and those of every lemma that was needed."""
    tasks = [(JOB, job) for stated in properties for job in stated.jobs]
    tasks += [(LEMMA, lemma) for stated in properties for lemma in stated.lemmas]
    lemmas, jobs = _run(tasks, done, workers)
    judged = [
        PropertyResult(stated, [lemmas[name] for name in stated.lemmas], [jobs[name] for name in stated.jobs])
        for stated in properties
    ]
    return judged, lemmas


def _run(
    tasks: list[tuple[str, str]], done: Callable[[int, int], None], workers: int | None
) -> tuple[dict[str, LemmaResult], dict[str, JobResult]]:
    """Run each task once, on all cores."""
    tasks = list(dict.fromkeys(tasks))
    # The longest first, so that it does not keep one process busy at the end.
    tasks.sort(key=lambda task: not task[1].startswith(LONG))
    lemmas: dict[str, LemmaResult] = {}
    jobs: dict[str, JobResult] = {}
    # Leaving the block ends the workers at once, whatever they are doing.
    # A new process for each task: what a solver answers may depend on what was asked before.
    with get_context("fork").Pool(
        workers or cpu_count(), _leave_interrupts_to_the_parent, maxtasksperchild=1
    ) as pool:
        for _, result in pool.imap_unordered(_show, tasks):
            if isinstance(result, LemmaResult):
                lemmas[result.name] = result
            else:
                jobs[result.name] = result
            done(len(lemmas) + len(jobs), len(tasks))
    return lemmas, jobs


def unit_test(result: LemmaResult) -> str:
    """Return a unit test that shows the counterexample of a lemma on plain numbers."""
    module = LEMMAS[result.name].run.__module__
    values = "\n".join(f"        {name!r}: {value}," for name, value in result.values.items())
    return (
        f"from host_sim.proof.numbers import Numbers\nfrom {module} import {result.name}\n\n\n"
        f"def test_{result.name}_holds_for_the_counterexample():\n"
        f"    # Fails with: {result.what}\n"
        f"    values = {{\n{values}\n    }}\n    {result.name}(Numbers(values))\n"
    )


def vector_lines(results: dict[str, LemmaResult]) -> list[str]:
    """Return one line for each path: lemma, values of its symbols, outcome; readable by any interpreter."""
    lines = []
    for name in sorted(results):
        for vector in results[name].vectors:
            values = ",".join(f"{key}={value}" for key, value in vector.values.items())
            outcome = ",".join(f"{key}={value}" for key, value in vector.outcome.items())
            lines.append(f"{name}|{values}|{outcome}")
    return lines
