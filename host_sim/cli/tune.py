"""`treadle tune` on the command line: its options, and its table of recommendations."""

import json
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer
from rich import box
from rich.console import Console
from rich.table import Table

from host_sim.cli.options import DEFAULT_BIKE, BikeArgument, ForceOption, JsonOption, OutOption, SeedOption
from host_sim.commands.tune import TuneRequest, TuneResult, tune
from host_sim.commands.tune_rules import RIDES
from host_sim.progress import progress_bar
from host_sim.textfile import spoken

if TYPE_CHECKING:
    from host_sim.tuning.rows import Row

WIDTH_LEAST = 100
WIDTH_WITHOUT_TERMINAL = 150


def tune_command(
    bike: BikeArgument = DEFAULT_BIKE,
    priority: Annotated[
        str, typer.Option(metavar="calm|balanced|quick", help="What counts more: comfort, or help at once.")
    ] = "balanced",
    out: OutOption = None,
    write: Annotated[
        Path | None, typer.Option(help="Write the tuned bike file here, if it passes the rules.")
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
    request = TuneRequest(bike, priority, out, write, seed, force, uncertain)
    with progress_bar("tuning") as done:
        result = tune(request, done)
    if as_json:
        print(json.dumps(result.as_json(), allow_nan=False))
    else:
        _print_result(result)
    if not result.holds:
        raise typer.Exit(1)


def _print_result(result: TuneResult) -> None:
    console = Console(highlight=False)
    if not console.is_terminal:
        console = Console(highlight=False, width=WIDTH_WITHOUT_TERMINAL)
    elif console.width < WIDTH_LEAST:
        console = Console(highlight=False, width=WIDTH_LEAST)
    table = Table(box=box.SIMPLE, pad_edge=False, collapse_padding=True)
    for heading, justify in (("setting", "left"), ("now", "right"), ("recommended", "right")):
        table.add_column(heading, justify=justify, no_wrap=heading == "setting")  # type: ignore[arg-type]
    table.add_column("why", ratio=3)
    table.add_column("effect", ratio=2)
    for row in result.rows:
        why = f"{row.why} ({row.spread})" if row.spread else row.why
        table.add_row(row.setting, _value(row.now), _value(row.recommended), _plain(why), _effect(row))
    console.print(table)
    _print_checks(result, console)
    _print_end(result)


def _value(value: object) -> str:
    if isinstance(value, list):
        return " ".join(f"{share:g}" for share in value)
    return str(value)


def _plain(text: str) -> str:
    return text.replace("[", "\\[")


def _effect(row: "Row") -> str:
    """Return each number before and after, on a line of its own; nothing where nothing is known."""
    lines = []
    for name, before in row.before.items():
        after = row.after.get(name)
        if before is not None and after is not None:
            lines.append(f"{name} {before:.3g} → {after:.3g}" if before != after else f"{name} {after:.3g}")
    return "\n".join(lines)


def _print_checks(result: TuneResult, console: Console) -> None:
    """Say for everything that changes what it assumes and how it shows on the road."""
    changed = [row for row in result.rows if row.now != row.recommended]
    if changed:
        console.print("How to check it on the road, first with the wheel off the ground, then slowly:")
    for row in changed:
        console.print(
            f"  {row.setting}: {_plain(row.check)}\n    assumed: {_plain(row.assumes)}", soft_wrap=True
        )


def _print_end(result: TuneResult) -> None:
    tuned = result.tuned
    if tuned.loop is not None:
        print(f"\n{tuned.loop.surge.sentence(tuned.bike)}")
    before, after = tuned.before.scores.total, tuned.after.scores.total
    print(f"Score, lower is better: {before:.2f} now, {after:.2f} recommended ({tuned.priority.name}).")
    if result.uncertain is not None:
        print("\n".join(f"{sentence[0].upper()}{sentence[1:]}." for sentence in result.uncertain.sentences()))
    elif result.request.uncertain:
        print("Uncertain: no current sensor is fitted, so there is no loop whose margin could be worked out.")
    for refusal in result.failing:
        print(f"Not written: {refusal}")
    for verdict in result.not_shown:
        print(f"Not shown either way: {verdict.rule.name}, {verdict.why_not_shown}.")
    if result.request.write is None:
        print(
            "Not held against the rules yet: --write FILE does it, the fault matrix too, and writes the "
            "bike file if everything holds."
        )
    elif not result.failing:
        which = "The other rules" if result.not_shown else "The rules"
        print(f"{which} hold over {RIDES} rides of each kind, and no cell of the fault matrix is worse.")
    print("files  " + "\n       ".join(spoken(path) for path in result.files))
