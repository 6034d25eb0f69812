"""`treadle sweep`: many rides of one bike with varied numbers, as a table and figures."""

import os
import sys
import time
from dataclasses import dataclass
from hashlib import sha256
from pathlib import Path
from typing import Annotated, Any

import typer

from host_sim.bench.named_controller import named_controller
from host_sim.bikes.load import load_bike
from host_sim.cli.options import (
    DEFAULT_BIKE,
    BikeArgument,
    ControllerOption,
    JsonOption,
    SeedOption,
    check_range,
    whole_number,
)
from host_sim.cli.options import seconds as read_seconds
from host_sim.cli.printing import print_json
from host_sim.cli.saying import say
from host_sim.cli.sweep_table import print_sweep
from host_sim.errors import RequestError
from host_sim.interruption import INTERRUPTED
from host_sim.progress import progress_bar
from host_sim.rules.catalogue import rule_named
from host_sim.rules.judge import Done, Say
from host_sim.sweeping.metrics import SECONDS_LEAST, SECONDS_MOST
from host_sim.sweeping.points import POINTS_MOST, Points, read_axis
from host_sim.sweeping.program import program
from host_sim.sweeping.rows import Sweep
from host_sim.sweeping.rule_columns import RIDES, RIDES_MOST
from host_sim.sweeping.running import deliver, ride_missing
from host_sim.sweeping.table_file import Unfinished, check_name
from host_sim.textfile import spoken

DEFAULT_OUT = Path("treadle-sweep") / "sweep.csv"
WORKERS_MOST = 256


class SweepRequest:
    """What to sweep, checked before anything is ridden; RequestError says what is wrong."""

    def __init__(
        self,
        bike: str,
        vary: list[str],
        random: int | None,
        seconds: float,
        seed: int,
        workers: int | None,
        cluster: str | None,
        out: Path | None,
        force: bool,
        controller: str | None = None,
        rules: tuple[str, ...] = (),
        rides: int = RIDES,
    ) -> None:
        """Check the request."""
        check_range("--seconds", seconds, (SECONDS_LEAST, SECONDS_MOST))
        if workers is not None and cluster is not None:
            raise RequestError("--workers and --cluster are both given, allowed is one of them")
        self.bike_given = bike
        self.table = out or DEFAULT_OUT
        check_name(self.table)
        points = Points([read_axis(text, random is None) for text in vary], random, seed)
        loaded = load_bike(bike)
        self.build = build = named_controller(controller, loaded.firmware_settings)
        if build is not None and cluster is not None:
            raise RequestError("--cluster and --controller are both given, allowed is one of them")
        names = tuple(dict.fromkeys(rule_named(rule).name for rule in rules))
        self.sweep = Sweep(loaded, points, seconds, seed, build, names, rides)
        self.workers = workers or os.cpu_count() or 1
        self.cluster = cluster
        self.force = force
        if self.table.is_dir() or (self.table.exists() and not force):
            told = "is a directory" if self.table.is_dir() else "exists already"
            raise RequestError(f"{spoken(self.table)} {told}, allowed is another --out, or --force")

    def identity(self) -> dict[str, Any]:
        """Return everything that determines the numbers of the table; where the rides run does not."""
        sweep = self.sweep
        bike = sweep.bike.model_dump_json() + str(sorted(sweep.bike.firmware_settings.as_dict().items()))
        return {
            "bike": sha256(bike.encode()).hexdigest()[:16],
            "vary": [[axis.key.name, axis.low, axis.high, axis.steps] for axis in sweep.points.axes],
            "points": sweep.points.count,
            "random": sweep.points.random,
            "seconds": sweep.seconds,
            "seed": sweep.seed,
            "program": program(),
            "rules": list(sweep.rules),
            "rides": sweep.rides if sweep.rules else 0,
            "controller": "" if self.build is None else self.build.digest(),
        }


@dataclass(frozen=True, slots=True)
class SweepResult:
    """A finished sweep. `as_json` has the documented keys."""

    as_json: dict[str, Any]

    @property
    def holds(self) -> bool:
        """Whether any point could be ridden."""
        return bool(self.as_json["ridden"])


def sweep(request: SweepRequest, done: Done, say: Say) -> SweepResult:
    """Ride what is still missing, write the table and the figures.

    `done(rows, all)` reports progress; `say` gets notices for the user.
    """
    started_s = time.perf_counter()
    swept = request.sweep
    rows = Unfinished(request.table, request.identity(), swept.columns(), request.force)
    kept = rows.rows
    if kept:
        say(f"{kept} of {swept.count} rides are done already, continuing from there")
    riding_s = 0.0
    try:
        if kept < swept.count:
            riding_s = ride_missing(swept, rows, request.workers, request.cluster, done, say)
        ridden_s = time.perf_counter() - started_s
        files, numbers = deliver(swept, rows, request.table, request.force)
    finally:
        rows.close()
    result = {
        "bike": swept.bike.name,
        "points": swept.points.count,
        "rides": swept.count,
        "already_there": kept,
        **numbers,
        "seconds": swept.seconds,
        "seed": swept.seed,
        "wall_s": round(ridden_s, 3),
        "riding_s": round(riding_s, 3),
        "files": [str(path) for path in files],
    }
    return SweepResult(result)


def sweep_command(
    bike: BikeArgument = DEFAULT_BIKE,
    vary: Annotated[
        list[str] | None,
        typer.Option(
            metavar="KEY=LOW:HIGH:N",
            help="Vary this number of the bike file, or setting, from LOW to HIGH in N steps; repeatable.",
        ),
    ] = None,
    random: Annotated[
        int | None,
        typer.Option(
            parser=whole_number("--random", 1, POINTS_MOST),
            metavar="NUMBER",
            help="Draw this many random points from the ranges instead of the grid.",
        ),
    ] = None,
    seconds: Annotated[
        float, typer.Option(parser=read_seconds, metavar="SECONDS", help="Length of each ride.")
    ] = 60.0,
    seed: SeedOption = 1,
    workers: Annotated[
        int | None,
        typer.Option(
            parser=whole_number("--workers", 1, WORKERS_MOST),
            metavar="NUMBER",
            help="Number of processes. Default: one per processor.",
        ),
    ] = None,
    cluster: Annotated[
        str | None,
        typer.Option(metavar="ADDRESS", help="Ride on the Dask cluster with this scheduler address."),
    ] = None,
    out: Annotated[
        Path | None,
        typer.Option(
            help="Table, .csv or .parquet; figures go to the same folder. Default: treadle-sweep/sweep.csv."
        ),
    ] = None,
    force: Annotated[
        bool, typer.Option("--force", help="Replace an existing table, and unfinished rows of another sweep.")
    ] = False,
    rule: Annotated[
        list[str] | None,
        typer.Option(
            metavar="NAME",
            help="Also check each point against this rule of `treadle verify`; repeatable.",
        ),
    ] = None,
    rides: Annotated[
        int,
        typer.Option(
            parser=whole_number("--rides", 1, RIDES_MOST),
            metavar="NUMBER",
            help="With --rule: rides of each of its kinds.",
        ),
    ] = RIDES,
    controller: ControllerOption = None,
    as_json: JsonOption = False,
) -> None:
    """Ride a bike many times with varied numbers, and show what each number does.

    Each point is a short ride: a start up a gentle slope, steady riding, a steeper slope, some stops. Writes
    a table with a row for each point, and figures. After an interruption the same command continues. These
    rides check no rule; with --rule, the rides of `treadle verify` are ridden too at each point.

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
        say("interrupted; finished rides are kept, and the same command continues from there")
        sys.exit(INTERRUPTED)
    if as_json:
        print_json(result.as_json)
    else:
        print_sweep(result.as_json)
    if not result.holds:
        raise typer.Exit(1)
