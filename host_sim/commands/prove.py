"""`treadle prove`: machine-checked properties of the unmodified firmware."""

from importlib.util import find_spec
from pathlib import Path
from typing import TYPE_CHECKING, Any

from host_sim.errors import RequestError
from host_sim.outputs import Delivery, refuse_missing_folder
from host_sim.refusals import closest

if TYPE_CHECKING:
    from collections.abc import Callable

    from host_sim.proof.prover import LemmaResult, PropertyResult


class ProveResult:
    """The properties with their verdicts."""

    def __init__(self, properties: "list[PropertyResult]", lemmas: "dict[str, LemmaResult]") -> None:
        """Keep what was found."""
        self.properties = properties
        self.lemmas = lemmas

    @property
    def holds(self) -> bool:
        """Whether everything asked for is proved."""
        return all(result.verdict == "proved" for result in self.properties)

    def as_json(self) -> list[dict[str, Any]]:
        """Return one entry a property, with the keys that the manual names."""
        from host_sim.proof.whole.evidence import in_words

        return [
            {
                "property": result.property.name,
                "verdict": result.verdict,
                "sentence": result.property.sentence,
                "paths": result.paths,
                "claims": result.claims,
                "seconds": round(result.seconds, 3),
                "assumptions": list(result.property.assumptions),
                "lemmas": list(result.property.lemmas),
                "whole_step": in_words(result.property.statements) if result.property.jobs else None,
            }
            for result in self.properties
        ]

    def unit_tests(self) -> "list[str]":
        """Return a unit test for each counterexample."""
        from host_sim.proof.prover import REFUTED, unit_test

        refuted = [lemma for lemma in self.lemmas.values() if lemma.verdict == REFUTED and lemma.values]
        of_steps = {job.test: None for result in self.properties for job in result.failing_jobs if job.test}
        return [*(unit_test(lemma) for lemma in refuted), *of_steps]


def check_request(name: str | None, vectors: Path | None, force: bool) -> None:
    """Raise RequestError for what can't be done, before anything is proved."""
    if find_spec("z3") is None:
        raise RequestError(
            "treadle prove needs z3, which is not installed, get it with: uv run --extra proof treadle prove"
        )
    from host_sim.proof.properties import PROPERTIES

    names = [stated.name for stated in PROPERTIES]
    if name is not None and name not in names:
        raise RequestError(f'--property is "{name[:60]}", {closest(name, names)}')
    if vectors is not None:
        refuse_missing_folder(vectors, "--vectors")
    if vectors is not None and vectors.exists() and not force:
        raise RequestError(f"{vectors} exists already, allowed is another --vectors, or --force")


def prove(
    name: str | None, vectors: Path | None, force: bool, done: "Callable[[int, int], None]"
) -> ProveResult:
    """Prove one property or all, and write the vectors if asked to."""
    from host_sim.proof.properties import PROPERTIES
    from host_sim.proof.prover import prove as run
    from host_sim.proof.prover import vector_lines

    asked = [stated for stated in PROPERTIES if name in (None, stated.name)]
    judged, lemmas = run(asked, done)
    if vectors is not None:
        with Delivery(vectors.parent, (vectors.name,), force, "--vectors") as delivery:
            text = "\n".join(vector_lines(lemmas)) + "\n"
            delivery.place(vectors.name).write_text(text, encoding="ascii")
            delivery.deliver()
    return ProveResult(judged, lemmas)
