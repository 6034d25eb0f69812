"""Runs the lemmas, each once, and judges the properties that follow from them."""

import signal
import time
from collections.abc import Callable, Sequence
from contextlib import nullcontext
from multiprocessing import get_context
from os import cpu_count

from host_sim.proof.explorer import Explorer, Unknown, Vector
from host_sim.proof.lemma_list import LEMMAS
from host_sim.proof.merging import merging
from host_sim.proof.numbers import Failure
from host_sim.proof.properties import Property

PROVED = "proved"
REFUTED = "refuted"
UNKNOWN = "unknown"


class LemmaResult:
    """What exploring a lemma came to: `verdict`, `paths`, `seconds`, `vectors`, and what went wrong."""

    __slots__ = ("name", "paths", "seconds", "values", "vectors", "verdict", "what")

    def __init__(self, name: str) -> None:
        """Start with nothing known."""
        self.name = name
        self.verdict = UNKNOWN
        self.paths = 0
        self.seconds = 0.0
        self.what = ""
        self.values: dict[str, int] = {}
        self.vectors: list[Vector] = []


class PropertyResult:
    """A property with its verdict: proved if all its lemmas are, else what the worst of them says."""

    __slots__ = ("failing", "paths", "property", "seconds", "verdict")

    def __init__(self, stated: Property, lemmas: Sequence[LemmaResult]) -> None:
        """Judge the property by its lemmas."""
        self.property = stated
        self.paths = sum(lemma.paths for lemma in lemmas)
        self.seconds = sum(lemma.seconds for lemma in lemmas)
        self.failing = [lemma for lemma in lemmas if lemma.verdict != PROVED]
        verdicts = {lemma.verdict for lemma in self.failing}
        self.verdict = REFUTED if REFUTED in verdicts else UNKNOWN if verdicts else PROVED


def prove_lemma(name: str) -> LemmaResult:
    """Explore one lemma down all its paths."""
    lemma = LEMMAS[name]
    result = LemmaResult(name)
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
        result.what = f"the solver gave no answer in its time: {unknown}"
    result.seconds = time.perf_counter() - started_s
    result.paths = explorer.paths
    result.vectors = explorer.vectors
    return result


def _leave_interrupts_to_the_parent() -> None:
    signal.signal(signal.SIGINT, signal.SIG_IGN)


def prove(
    properties: Sequence[Property], done: Callable[[int, int], None], workers: int | None = None
) -> tuple[list[PropertyResult], dict[str, LemmaResult]]:
    """Prove `properties`; return their results, and those of every lemma that was needed."""
    names = list(dict.fromkeys(lemma for stated in properties for lemma in stated.lemmas))
    results: dict[str, LemmaResult] = {}
    # The longest first, so that no process waits for it at the end.
    names.sort(key=lambda name: name not in ("guard_permit", "pedalling", "fault_step"))
    # Leaving the block ends the workers at once, whatever they are at.
    with get_context("fork").Pool(workers or cpu_count(), _leave_interrupts_to_the_parent) as pool:
        for result in pool.imap_unordered(prove_lemma, names):
            results[result.name] = result
            done(len(results), len(names))
    judged = [PropertyResult(stated, [results[name] for name in stated.lemmas]) for stated in properties]
    return judged, results


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
    """Return one line for each path: lemma, values of its symbols, outcome; for any interpreter to read."""
    lines = []
    for name in sorted(results):
        for vector in results[name].vectors:
            values = ",".join(f"{key}={value}" for key, value in vector.values.items())
            outcome = ",".join(f"{key}={value}" for key, value in vector.outcome.items())
            lines.append(f"{name}|{values}|{outcome}")
    return lines
