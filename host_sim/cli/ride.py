"""`treadle ride` on the command line: its options, and its table."""

import json
from pathlib import Path
from typing import Annotated

import typer

from host_sim.bench.ride_progress import progress_watch
from host_sim.cli.options import (
    DEFAULT_BIKE,
    ControllerOption,
    ForceOption,
    JsonOption,
    OutOption,
    SeedOption,
)
from host_sim.cli.options import seconds as read_seconds
from host_sim.cli.replay import replay_command
from host_sim.commands.replay import ReplayRequest
from host_sim.commands.ride import RideRequest, RideResult, ride
from host_sim.errors import RequestError
from host_sim.textfile import spoken


def ride_command(
    bike: Annotated[str | None, typer.Argument(help="Bike file, or example. Default: cargo_trike.")] = None,
    recording: Annotated[
        str | None, typer.Option(help="Recorded ride: a CSV or FIT file, or an example.")
    ] = None,
    course: Annotated[str | None, typer.Option(help="Scripted ride: a TOML file, or an example.")] = None,
    seconds: Annotated[
        float | None,
        typer.Option(
            parser=read_seconds, metavar="SECONDS", help="Stop after this time. Default: the whole ride."
        ),
    ] = None,
    seed: SeedOption = 1,
    out: OutOption = None,
    force: ForceOption = False,
    capture: Annotated[
        Path | None, typer.Option(help="Also write the crank edges as a capture: a .vcd or .csv file.")
    ] = None,
    controller: ControllerOption = None,
    replay: Annotated[
        Path | None, typer.Option(help="Run the firmware through this log of watch --record or --blackbox.")
    ] = None,
    changes: Annotated[
        list[str] | None,
        typer.Option("--set", metavar="NAME=VALUE", help="With --replay: change a setting; repeatable."),
    ] = None,
    as_test: Annotated[
        Path | None, typer.Option(help="With --replay: write the ride as a unit test, a test_….py file.")
    ] = None,
    as_json: JsonOption = False,
) -> None:
    """Ride a bike on the bench and see what the assist did.

    Without arguments the cargo trike rides a recorded road ride. Writes trace.csv (20 rows a second),
    edges.csv (one second of crank edges) and ride.png. `--capture ride.vcd` also writes all crank edges to a
    file that any waveform viewer opens.

    `--replay ride.steps` runs the firmware through the inputs that a board recorded. The outputs must equal
    the board's; the first difference is reported. With another bike or `--set` it shows what the firmware
    would have decided.

    Example: `treadle ride folding --course errand --seed 7 --out errand`
    """
    if replay is not None:
        if any(given is not None for given in (recording, course, seconds, capture, controller)):
            raise RequestError(
                "--replay takes the ride from its log, allowed with it are BIKE, --set, --as-test, --out"
            )
        replay_command(ReplayRequest(replay, bike, changes or [], out, force, as_test), as_json)
        return
    if changes or as_test is not None:
        raise RequestError("--set and --as-test are allowed only with --replay")
    request = RideRequest(
        bike or DEFAULT_BIKE, recording, course, seconds, seed, out, force, capture, controller
    )
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
    rider = "rider (estimated)" if result.estimated else "rider"
    rows = (
        ("bike, ride, seed", f"{spoken(numbers['bike'])}, {spoken(numbers['ride'])}, {numbers['seed']}"),
        ("ridden", f"{numbers['distance_m'] / 1000:.2f} km in {numbers['simulated_s']:.0f} s"),
        ("on the bench", f"{numbers['wall_s']:.1f} s, {speed_up:.0f} times real time"),
        ("energy", f"{rider} {numbers['rider_wh']:.1f} Wh, battery {numbers['assist_wh']:.1f} Wh"),
        ("engagements by the pedals", f"{numbers['engagements']}"),
        ("first assistance", "none" if first_s is None else f"{first_s:.2f} s after the start"),
        ("longest run-on", f"{numbers['longest_run_on_s']:.3f} s"),
        ("longest cut-off distance", f"{numbers['longest_cutoff_distance_m']:.2f} m"),
        ("highest command voltage", f"{numbers['max_command_mv'] / 1000:.2f} V"),
        ("faults", "\n".join(dict.fromkeys(numbers["faults"])) or "none"),
        ("files", "\n".join(spoken(name) for name in numbers["files"])),
    )
    # Printed as it is: a path that is cut or broken at the edge of the screen can't be copied.
    width = max(len(name) for name, _ in rows) + 2
    for name, value in rows:
        print(f"{name:<{width}}" + value.replace("\n", "\n" + " " * width))
    if result.hides:
        print(result.hides)
    if result.estimated:
        print(
            f"estimated from the recorded speed, not recorded: {', '.join(result.estimated)}; "
            "no wind is assumed, and a level road if the recording has no altitude"
        )
    if result.notes:
        print(f"recording changed by rule: {', '.join(result.notes)}")
