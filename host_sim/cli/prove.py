"""`treadle prove`: machine-checked properties of the unmodified firmware."""

from dataclasses import dataclass
from importlib.util import find_spec
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from host_sim.cli.options import ForceOption, JsonOption, check_names
from host_sim.cli.printing import print_json
from host_sim.errors import RequestError
from host_sim.outputs import refuse_missing_folder, whole_file
from host_sim.progress import progress_bar

if TYPE_CHECKING:
    from collections.abc import Callable

    from host_sim.proof.prover import LemmaResult, PropertyResult


@dataclass(frozen=True, slots=True)
class ProveResult:
    """The properties with their verdicts, and the lemmas by name."""

    properties: "list[PropertyResult]"
    lemmas: "dict[str, LemmaResult]"

    @property
    def holds(self) -> bool:
        """Whether everything requested is proved."""
        return all(result.verdict == "proved" for result in self.properties)

    def as_json(self) -> list[dict[str, Any]]:
        """Return one entry for each property, under the documented keys."""
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
                "lemmas": {name: self._lemma_as_json(name) for name in result.property.lemmas},
                "whole_step": in_words(result.property.statements, result.property.jobs),
            }
            for result in self.properties
        ]

    def _lemma_as_json(self, name: str) -> dict[str, Any]:
        """Return what a lemma says, and which of its numbers are symbolic over which range."""
        from host_sim.proof.lemma_list import LEMMAS

        sentence = (LEMMAS[name].run.__doc__ or "").split("\n")[0]
        return {
            "sentence": sentence,
            "symbolic": {key: list(span) for key, span in self.lemmas[name].ranges.items()},
        }

    def unit_tests(self) -> "list[str]":
        """Return a unit test for each counterexample."""
        from host_sim.proof.prover import REFUTED, unit_test

        refuted = [lemma for lemma in self.lemmas.values() if lemma.verdict == REFUTED and lemma.values]
        of_steps = {job.test: None for result in self.properties for job in result.failing_jobs if job.test}
        return [*(unit_test(lemma) for lemma in refuted), *of_steps]


def check_request(name: str | None, vectors: Path | None, force: bool) -> None:
    """Raise RequestError for a wrong request before anything is proved."""
    if find_spec("z3") is None:
        raise RequestError(
            "treadle prove needs z3, which is not installed, get it with: uv run --extra proof treadle prove"
        )
    from host_sim.proof.properties import PROPERTIES

    check_names("--property", [] if name is None else [name], [stated.name for stated in PROPERTIES])
    if vectors is not None:
        refuse_missing_folder(vectors, "--vectors")
    if vectors is not None and vectors.exists() and not force:
        raise RequestError(f"{vectors} exists already, allowed is another --vectors, or --force")


def prove(
    name: str | None, vectors: Path | None, force: bool, done: "Callable[[int, int], None]"
) -> ProveResult:
    """Prove one property or all, and write the vectors if requested."""
    from host_sim.proof.properties import PROPERTIES
    from host_sim.proof.prover import prove as run
    from host_sim.proof.prover import vector_lines

    asked = [stated for stated in PROPERTIES if name in (None, stated.name)]
    judged, lemmas = run(asked, done)
    if vectors is not None:
        with whole_file(vectors, force, "--vectors") as place:
            place.write_text("\n".join(vector_lines(lemmas)) + "\n", encoding="ascii")
    return ProveResult(judged, lemmas)


def prove_command(
    name: Annotated[str | None, typer.Option("--property", help="Prove only this property.")] = None,
    vectors: Annotated[
        Path | None, typer.Option(help="Write the numbers of each path to this file, one line for each path.")
    ] = None,
    force: ForceOption = False,
    as_json: JsonOption = False,
) -> None:
    """Prove properties of the firmware for rides of any length.

    The unmodified firmware runs on symbols instead of numbers. A statement covers the whole step of the
    controller, for all legal settings, from any state that the invariant allows; the same run proves that
    constructors, edges and steps keep the invariant. An exact contract says to the last bit what one function
    gives, or what it calls. A lemma covers every path of one component where no statement can; `rest`
    is shown by a lemma at default settings only. Each property lists what it assumes, and the statements and
    lemmas that it uses; --json lists them in full.

    Exit code 0 if everything is proved. Exit code 1 if not: then a counterexample is printed, and a unit test
    that reproduces it. For a statement about steps or edges the search fixes the settings to a few bicycles,
    and the counterexample is tried on the firmware.

    Example: `treadle prove --property stop`
    """
    check_request(name, vectors, force)
    with progress_bar("proving") as done:
        result = prove(name, vectors, force, done)
    if as_json:
        print_json(result.as_json())
    else:
        _print_properties(result)
    if not result.holds:
        raise typer.Exit(1)


def _print_properties(result: ProveResult) -> None:
    for judged in result.properties:
        stated = judged.property
        print(f"{stated.name}: {judged.verdict}, {_counted(judged)}, {judged.seconds:.1f} s")
        print(f"  {stated.sentence}")
        for statement in stated.statements:
            print(f"  shown for the whole step: {statement}")
        for assumption in stated.assumptions:
            print(f"  assumed: {assumption}")
        for lemma in judged.failing:
            print(f"  {lemma.name}: {lemma.what}")
            for line in getattr(lemma, "sequence", []):
                print(f"    {line}")
            for symbol, value in lemma.values.items():
                print(f"    {symbol} = {value}")
    for test in result.unit_tests():
        print(f"\n{test}")
    proved = sum(judged.verdict == "proved" for judged in result.properties)
    paths = sum(lemma.paths for lemma in result.lemmas.values())
    jobs = {job for judged in result.properties for job in judged.property.jobs}
    explored = f"{paths} paths of {len(result.lemmas)} lemmas, {len(jobs)} jobs about whole steps"
    print(f"\n{proved} of {len(result.properties)} proved: {explored}")


def _counted(judged: "PropertyResult") -> str:
    """Return the numbers of paths and claims of a property."""
    parts = [f"{judged.paths} paths"] if judged.paths else []
    return ", ".join([*parts, f"{judged.claims} claims"] if judged.claims else parts)
