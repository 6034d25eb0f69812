"""`treadle sweep` on the command line: its options, and its short table."""

import json
import sys
from collections.abc import Callable
from pathlib import Path
from typing import Annotated

import typer

from host_sim.cli.options import DEFAULT_BIKE, BikeArgument, ControllerOption, JsonOption, SeedOption
from host_sim.cli.options import number as read_number
from host_sim.cli.options import seconds as read_seconds
from host_sim.cli.saying import say
from host_sim.commands.sweep import SweepRequest, SweepResult, sweep
from host_sim.progress import progress_bar
from host_sim.sweeping.points import POINTS_MOST
from host_sim.textfile import spoken

INTERRUPTED = 130
HEADINGS = ("measure", "lowest", "median", "highest", "lowest at")


def _whole(name: str, most: int) -> Callable[[str], int]:
    """Return the reader of a whole number."""

    def read(text: str) -> int:
        value = read_number(name, text, f"a whole number from 1 to {most}")
        return int(value) if value == int(value) else 0  # 0 is refused with the range.

    return read


def sweep_command(
    bike: BikeArgument = DEFAULT_BIKE,
    vary: Annotated[
        list[str] | None,
        typer.Option(
            metavar="KEY=LOW:HIGH:N",
            help="A number of the bike file or a setting, from LOW to HIGH in N steps. As often as you like.",
        ),
    ] = None,
    random: Annotated[
        int | None,
        typer.Option(
            parser=_whole("--random", POINTS_MOST),
            metavar="NUMBER",
            help="Draw so many points from the ranges instead of the whole grid.",
        ),
    ] = None,
    seconds: Annotated[
        float, typer.Option(parser=read_seconds, metavar="SECONDS", help="Length of each ride.")
    ] = 60.0,
    seed: SeedOption = 1,
    workers: Annotated[
        int | None,
        typer.Option(
            parser=_whole("--workers", 256), metavar="NUMBER", help="Processes. Default: one a processor."
        ),
    ] = None,
    cluster: Annotated[
        str | None, typer.Option(metavar="ADDRESS", help="Ride on a Dask cluster: its scheduler's address.")
    ] = None,
    out: Annotated[
        Path | None,
        typer.Option(help="Table, .csv or .parquet; figures beside it. Default: treadle-sweep/sweep.csv."),
    ] = None,
    force: Annotated[
        bool, typer.Option("--force", help="Replace a table that exists, and rows of another sweep.")
    ] = False,
    controller: ControllerOption = None,
    as_json: JsonOption = False,
) -> None:
    """Ride a bike many times with other numbers, and show what each number does.

    Each point is a short ride: a start up a gentle slope, steady riding, a steeper slope, a stop. Writes a
    table with a row for each point, and figures. The same command again goes on where an interruption ended
    it.

    Example: `treadle sweep tandem --vary rise_mv_per_s=200:8000:40 --vary gain_uv_per_w=50:1500:30`
    """
    request = SweepRequest(bike, vary or [], random, seconds, seed, workers, cluster, out, force, controller)
    try:
        with progress_bar("riding") as done:
            result = sweep(request, done, say)
    except KeyboardInterrupt:
        say("interrupted; what was ridden is kept, the same command goes on from there")
        sys.exit(INTERRUPTED)
    if as_json:
        print(json.dumps(result.as_json, allow_nan=False))
    else:
        _print_summary(result)
    if not result.holds:
        raise typer.Exit(1)


def _print_summary(result: SweepResult) -> None:
    numbers = result.as_json
    rows = [HEADINGS]
    for name, spread in numbers["measures"].items():
        if spread["lowest"] != spread["highest"]:
            at = ", ".join(f"{key.split('.')[-1]} {value:g}" for key, value in spread["lowest_at"].items())
            low, middle, high = (f"{spread[end]:.3g}" for end in ("lowest", "median", "highest"))
            rows.append((name, low, middle, high, at))
    widths = [max(len(row[column]) for row in rows) for column in range(len(HEADINGS))]
    for row in rows:
        cells = [f"{row[0]:<{widths[0]}}"]
        cells += [f"{cell:>{width}}" for cell, width in zip(row[1:4], widths[1:4], strict=True)]
        print("  ".join([*cells, row[4]]).rstrip())
    rides = numbers["points"] - numbers["already_there"]
    simulated = numbers["seconds"] * rides / max(numbers["wall_s"], 1e-3)
    print(f"\n{numbers['ridden']} of {numbers['points']} points ridden, {rides} of them now in", end=" ")
    print(f"{numbers['wall_s']:.1f} s: {simulated:.0f} times real time.")
    for reason, count in numbers["not_ridden"].items():
        print(f"not ridden, {count} times: {reason}")
    for margin, count in numbers["rules_broken"].items():
        print(f"a rule is broken at {count} points: {margin} is below 0")
    print(
        "A better number here is a reason to try it carefully, no approval: `treadle verify` holds the rules."
    )
    print("files  " + "\n       ".join(spoken(name) for name in numbers["files"]))
