"""`treadle sweep` on the command line: its options, and its short table."""

import json
import sys
from collections.abc import Callable
from pathlib import Path
from typing import Annotated

import typer

from host_sim.cli.options import DEFAULT_BIKE, BikeArgument, ControllerOption, JsonOption, SeedOption
from host_sim.cli.options import number as read_number
from host_sim.cli.options import rides as read_rides
from host_sim.cli.options import seconds as read_seconds
from host_sim.cli.saying import say
from host_sim.cli.sweep_table import print_sweep
from host_sim.commands.sweep import SweepRequest, sweep
from host_sim.progress import progress_bar
from host_sim.sweeping.points import POINTS_MOST
from host_sim.sweeping.rule_columns import RIDES

INTERRUPTED = 130


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
    rule: Annotated[
        list[str] | None,
        typer.Option(
            metavar="NAME",
            help="Also hold this rule of `treadle verify` against each point. As often as you like.",
        ),
    ] = None,
    rides: Annotated[
        int,
        typer.Option(parser=read_rides, metavar="NUMBER", help="With --rule: rides of each of its kinds."),
    ] = RIDES,
    controller: ControllerOption = None,
    as_json: JsonOption = False,
) -> None:
    """Ride a bike many times with other numbers, and show what each number does.

    Each point is a short ride: a start up a gentle slope, steady riding, a steeper slope, some stops. Writes
    a table with a row for each point, and figures. The same command again goes on where an interruption ended
    it. No rule is judged by these rides; --rule rides those of `treadle verify` as well, at each point.

    Example: `treadle sweep tandem --vary rise_mv_per_s=200:8000:40 --vary gain_uv_per_w=50:1500:30`
    """
    request = SweepRequest(
        bike, vary or [], random, seconds, seed, workers, cluster, out, force, controller, tuple(rule or ()),
        rides,
    )  # fmt: skip
    try:
        with progress_bar("riding") as done:
            result = sweep(request, done, say)
    except KeyboardInterrupt:
        say("interrupted; what was ridden is kept, the same command goes on from there")
        sys.exit(INTERRUPTED)
    if as_json:
        print(json.dumps(result.as_json, allow_nan=False))
    else:
        print_sweep(result.as_json)
    if not result.holds:
        raise typer.Exit(1)
