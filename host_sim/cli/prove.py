"""`treadle prove` on the command line: its options, and its table of properties."""

import json
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from host_sim.cli.options import ForceOption, JsonOption
from host_sim.commands.prove import ProveResult, check_request, prove
from host_sim.progress import progress_bar

if TYPE_CHECKING:
    from host_sim.proof.prover import PropertyResult


def prove_command(
    name: Annotated[str | None, typer.Option("--property", help="Prove only this property.")] = None,
    vectors: Annotated[
        Path | None, typer.Option(help="Write the numbers of each path to this file, one line a path.")
    ] = None,
    force: ForceOption = False,
    as_json: JsonOption = False,
) -> None:
    """Prove properties of the firmware for rides of any length.

    The unmodified firmware runs on symbols instead of numbers. A statement covers the whole step of the
    controller, for all legal settings, from any state that the invariant allows; the same run proves that
    constructors, edges and steps keep the invariant. A lemma covers every path of one component; some lemmas
    use default settings, and lemmas are combined by hand. Each property lists the statements and lemmas that
    it uses; --json lists them in full.

    Exit code 0 if everything is proved. Exit code 1 if not: then a counterexample is printed, and a unit test
    that reproduces it.

    Example: `treadle prove --property stop`
    """
    check_request(name, vectors, force)
    with progress_bar("proving") as done:
        result = prove(name, vectors, force, done)
    if as_json:
        print(json.dumps(result.as_json(), allow_nan=False))
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
    """Return how many paths and claims a property took."""
    parts = [f"{judged.paths} paths"] if judged.paths else []
    return ", ".join([*parts, f"{judged.claims} claims"] if judged.claims else parts)
