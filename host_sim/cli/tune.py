"""`treadle tune` on the command line: its options, and its table of recommendations."""

import json
from pathlib import Path
from typing import Annotated

import typer

from host_sim.cli.options import DEFAULT_BIKE, BikeArgument, ForceOption, JsonOption, OutOption, SeedOption
from host_sim.cli.tune_table import print_rows, print_wrapped
from host_sim.commands.tune import TuneRequest, TuneResult, tune
from host_sim.progress import progress_bar
from host_sim.textfile import spoken
from host_sim.tuning.rules_check import RIDES


def tune_command(
    bike: BikeArgument = DEFAULT_BIKE,
    priority: Annotated[
        str,
        typer.Option(
            "--priority",
            "--for",
            metavar="calm|balanced|quick|hill|learner",
            help="What counts more: comfort, help at once, a start uphill, or nothing unexpected.",
        ),
    ] = "balanced",
    out: OutOption = None,
    write: Annotated[
        Path | None, typer.Option(help="Write the tuned bike file here, if it passes the rules.")
    ] = None,
    keep: Annotated[
        list[str] | None,
        typer.Option(metavar="SETTING", help="Leave this setting as it is; may be given several times."),
    ] = None,
    seed: SeedOption = 1,
    uncertain: Annotated[
        bool, typer.Option("--uncertain", help="Also ride 50 bicycles within what the file knows; minutes.")
    ] = False,
    force: ForceOption = False,
    as_json: JsonOption = False,
) -> None:
    """Compute the settings of a bike, say why, and measure what they change.

    Engage and release, rise rate, power loop with its margins, shares, throttle, fold-backs: each with what
    it assumes and how to check it on the road. Exit code 1 if --write asks for a bike file that breaks a
    rule; it is not written. With --uncertain the power loop's worst margin over 50 bicycles whose numbers
    lie within their intervals (or a fifth either way), and what to measure next. What is computed here is a
    reason to try carefully, no approval.

    Example: `treadle tune tandem --priority calm --write my_tandem.toml`
    """
    request = TuneRequest(bike, priority, out, write, seed, force, uncertain, tuple(keep or ()))
    with progress_bar("tuning") as done:
        result = tune(request, done)
    if as_json:
        print(json.dumps(result.as_json(), allow_nan=False))
    else:
        _print_result(result)
    if not result.holds:
        raise typer.Exit(1)


def _print_result(result: TuneResult) -> None:
    print_rows(result.rows)
    _print_end(result)


def _print_end(result: TuneResult) -> None:
    tuned = result.tuned
    if tuned.loop is not None:
        print_wrapped(tuned.loop.surge.sentence(tuned.bike), "")
    print_wrapped(result.given_up, "")
    before, after = tuned.before.scores.total, tuned.after.scores.total
    print(f"Score, lower is better: {before:.2f} now, {after:.2f} recommended ({tuned.priority.name}).")
    if result.uncertain is not None:
        for sentence in result.uncertain.sentences():
            print_wrapped(f"{sentence[0].upper()}{sentence[1:]}.", "")
    elif result.request.uncertain:
        print_wrapped("Uncertain: no current sensor is fitted, so there is no loop with a margin.", "")
    for refusal in result.failing:
        print_wrapped(f"Not written: {refusal}", "")
    for sentence in result.as_before:
        print_wrapped(f"Fails as it did before: {sentence}", "")
    for verdict in result.not_shown:
        print_wrapped(f"Not shown either way: {verdict.rule.name}, {verdict.why_not_shown}.", "")
    if result.request.write is None:
        print_wrapped(
            "Not held against the rules yet: --write FILE does it, the fault matrix too, and writes the "
            "bike file if everything holds.",
            "",
        )
    elif not result.failing:
        which = "The other rules" if result.not_shown or result.as_before else "The rules"
        print_wrapped(
            f"{which} hold over {RIDES} rides of each kind, and no cell of the fault matrix is worse.", ""
        )
    print("files  " + "\n       ".join(spoken(path) for path in result.files))
