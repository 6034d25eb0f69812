"""The program `treadle`: parses, calls, prints. Nothing is computed here.

Exit codes: 0 when what was asked holds, 1 when it does not, 2 when the request is wrong; an
interruption ends with 130 and leaves nothing half written.
"""

import json
import os
import sys
from pathlib import Path
from typing import Annotated, Any, NoReturn

import typer
from rich.console import Console
from rich.table import Table

from host_sim.commands.ride import DEFAULT_BIKE, RideRequest, RideResult, ride
from host_sim.errors import RequestError
from host_sim.progress import progress_watch
from host_sim.textfile import spoken

SEED_MAX = 2**32 - 1
INTERRUPTED = 130  # As a shell reports a program that ended by SIGINT.


def _number(name: str, text: str, allowed: str) -> float:
    try:
        return float(text)
    except ValueError:
        raise RequestError(f"{name} is {text[:60]!r}, allowed is {allowed}") from None


def _seconds(text: str) -> float:
    return _number("--seconds", text, "a number of seconds, 1 or more")


def _seed(text: str) -> int:
    allowed = f"a whole number from 0 to {SEED_MAX}"
    number = _number("--seed", text, allowed)
    if not 0 <= number <= SEED_MAX or number != int(number):
        raise RequestError(f"--seed is {text[:60]!r}, allowed is {allowed}")
    return int(number)


app = typer.Typer(
    add_completion=True,
    no_args_is_help=True,
    rich_markup_mode="markdown",
    pretty_exceptions_enable=False,
    help="Rides, checks and sets up the assist controller of a bicycle before anyone sits on it.",
)

BikeArgument = Annotated[str, typer.Argument(help="Bike file, or the name of an example bike.")]
SeedOption = Annotated[
    int,
    typer.Option(parser=_seed, metavar="NUMBER", help="Decides every random thing of the ride, 0 or more."),
]
JsonOption = Annotated[bool, typer.Option("--json", help="Print one JSON object and nothing else.")]
ForceOption = Annotated[bool, typer.Option("--force", help="Replace files that exist in --out.")]


@app.callback()
def treadle() -> None:
    """Rides, checks and sets up the assist controller of a bicycle before anyone sits on it."""


@app.command("ride")
def ride_command(
    bike: BikeArgument = DEFAULT_BIKE,
    recording: Annotated[
        str | None, typer.Option(help="Recorded ride: CSV or FIT file, or an example.")
    ] = None,
    course: Annotated[str | None, typer.Option(help="Scripted ride: TOML file, or an example.")] = None,
    seconds: Annotated[
        float | None,
        typer.Option(parser=_seconds, metavar="SECONDS", help="Ride only so long. Default: the whole ride."),
    ] = None,
    seed: SeedOption = 1,
    out: Annotated[Path | None, typer.Option(help="Folder for the results. Default: a new one here.")] = None,
    force: ForceOption = False,
    as_json: JsonOption = False,
) -> None:
    """Ride a bike on the bench and see what the assist did.

    Without arguments the cargo trike rides a recorded road ride. Writes trace.csv (20 rows a second),
    edges.csv (one second of crank edges) and ride.png.

    Example: `treadle ride folding --course errand --seed 7 --out errand`
    """
    request = RideRequest(bike, recording, course, seconds, seed, out, force)
    with progress_watch("riding", request.seconds) as watch:
        result = ride(request, watch)
    if as_json:
        print(json.dumps(result.as_json, allow_nan=False))
    else:
        _print_ride(result)


def _print_ride(result: RideResult) -> None:
    """Print the short table of a ride."""
    numbers = result.as_json
    first_s = numbers["first_assist_s"]
    speed_up = numbers["simulated_s"] / max(numbers["wall_s"], 1e-3)
    rows = (
        ("bike, ride, seed", f"{spoken(numbers['bike'])}, {spoken(numbers['ride'])}, {numbers['seed']}"),
        ("ridden", f"{numbers['distance_m'] / 1000:.2f} km in {numbers['simulated_s']:.0f} s"),
        ("on the bench", f"{numbers['wall_s']:.1f} s, {speed_up:.0f} times real time"),
        ("energy", f"rider {numbers['rider_wh']:.1f} Wh, battery {numbers['assist_wh']:.1f} Wh"),
        ("engagements by the pedals", f"{numbers['engagements']}"),
        ("first assistance", "none" if first_s is None else f"{first_s:.2f} s after the start"),
        ("longest run-on", f"{numbers['longest_run_on_s']:.3f} s"),
        ("longest cut-off distance", f"{numbers['longest_cutoff_distance_m']:.2f} m"),
        ("highest command voltage", f"{numbers['max_command_mv'] / 1000:.2f} V"),
        ("faults", "\n".join(dict.fromkeys(numbers["faults"])) or "none"),
        ("files", "\n".join(spoken(name) for name in numbers["files"])),
    )
    table = Table(show_header=False, box=None, padding=(0, 2, 0, 0))
    table.add_column()
    table.add_column(no_wrap=True, overflow="ignore")  # A path that is cut or broken can't be copied.
    for name, value in rows:
        table.add_row(name, value)
    # Names are a user's: they may hold brackets or colons, which are no markup here.
    console = Console(highlight=False, markup=False, emoji=False)
    console.print(table, crop=False)
    if result.notes:
        console.print(f"recording changed by rule: {', '.join(result.notes)}", style="dim")


def main() -> None:
    """Run the program; a wrong request ends in one sentence and exit code 2."""
    try:
        code = app(prog_name="treadle", standalone_mode=False)
        sys.stdout.flush()
    except RequestError as error:
        _end(str(error), 2)
    except (KeyboardInterrupt, typer.Abort):
        code = INTERRUPTED
    except OSError as error:
        # Nobody reads standard output any more, or its disk is full; Python would try it again at exit.
        os.dup2(os.open(os.devnull, os.O_WRONLY), 1)
        _end("" if isinstance(error, BrokenPipeError) else f"standard output: {error.strerror}", 1)
    except Exception as error:
        _end(_usage(error), 2)
    if code == INTERRUPTED:
        _end("interrupted, nothing was written", INTERRUPTED)
    sys.exit(code or 0)


def _usage(error: Any) -> str:
    """Return in one line what the parser says against the command line; anything else is raised again."""
    if not hasattr(error, "format_message"):
        raise error
    if type(error).__name__ == "NoArgsIsHelpError":
        return ""  # The help has been printed.
    path = getattr(getattr(error, "ctx", None), "command_path", "treadle")
    sentence = " ".join(str(error.format_message()).split()).rstrip(".")
    return f"{sentence}; `{path} --help` tells what is allowed"


def _end(sentence: str, code: int) -> NoReturn:
    """Leave with a sentence on standard error, if there is one to say."""
    if sentence:
        print(f"treadle: {sentence}", file=sys.stderr)
    sys.exit(code)
