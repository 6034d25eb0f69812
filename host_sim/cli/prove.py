"""`treadle prove` on the command line: its options, and its table of properties."""

import json
from pathlib import Path
from typing import Annotated

import typer

from host_sim.cli.options import ForceOption, JsonOption
from host_sim.commands.prove import ProveResult, check_request, prove
from host_sim.progress import progress_bar


def prove_command(
    name: Annotated[str | None, typer.Option("--property", help="Only this property, by its name.")] = None,
    vectors: Annotated[
        Path | None, typer.Option(help="Write one line of numbers for each path into this file.")
    ] = None,
    force: ForceOption = False,
    as_json: JsonOption = False,
) -> None:
    """Prove properties of the firmware for rides of any length.

    The unmodified firmware is run on symbols instead of numbers, down every path, from any state that its
    invariants allow. Most lemmas are about one component; some keep settings at their defaults, and they are
    joined by hand: DEVELOPERS.md says what that leaves open.

    Exit code 0 if everything is proved, 1 if something is not; then the counterexample and a unit test that
    shows it are printed.

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
        print(f"{stated.name}: {judged.verdict}, {judged.paths} paths, {judged.seconds:.1f} s")
        print(f"  {stated.sentence}")
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
    seconds = sum(lemma.seconds for lemma in result.lemmas.values())
    explored = f"{paths} paths of {len(result.lemmas)} lemmas, {seconds:.0f} s"
    print(f"\n{proved} of {len(result.properties)} proved: {explored}")
