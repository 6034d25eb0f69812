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
    name: Annotated[str | None, typer.Option("--property", help="Only this property, by its name.")] = None,
    vectors: Annotated[
        Path | None, typer.Option(help="Write one line of numbers for each path into this file.")
    ] = None,
    force: ForceOption = False,
    as_json: JsonOption = False,
) -> None:
    """Prove properties of the firmware for rides of any length.

    The unmodified firmware is run on symbols instead of numbers. Statements are about the whole step of the
    controller, for all legal settings at once, from any state that its invariant allows; that constructors,
    edges and steps keep the invariant is shown in the same run. Lemmas go down every path of one component;
    some keep settings at their defaults, and they are joined by hand. Each property says which it rests on,
    --json in full.

    Exit code 0 if everything is proved, 1 if something is not; then the counterexample and a unit test that
    shows it are printed. For a statement about steps or edges it is looked for with settings fixed to a few
    bicycles, and tried on the firmware.

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
            print(f"  shown of the whole step: {statement}")
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
    """Return how many paths and claims a property took."""
    parts = [f"{judged.paths} paths"] if judged.paths else []
    return ", ".join([*parts, f"{judged.claims} claims"] if judged.claims else parts)
