"""`treadle verify` on the command line: its options, and what it prints."""

import json
import sys
from typing import Annotated

import typer

from host_sim.cli.options import (
    DEFAULT_BIKE,
    BikeArgument,
    ControllerOption,
    ForceOption,
    JsonOption,
    OutOption,
    SeedOption,
)
from host_sim.cli.options import rides as read_rides
from host_sim.cli.saying import say
from host_sim.cli.verify_faults import verify_faults_command
from host_sim.cli.verify_table import print_verdicts
from host_sim.commands.verify import VerifyRequest, VerifyResult, verify
from host_sim.commands.verify_faults import FaultsRequest
from host_sim.errors import RequestError
from host_sim.progress import progress_bar

INTERRUPTED = 130


def verify_command(
    bike: BikeArgument = DEFAULT_BIKE,
    rule: Annotated[str | None, typer.Option(help="Only this rule, by its name in the table.")] = None,
    faults: Annotated[
        bool, typer.Option("--faults", help="The fault matrix instead: every input in every way of failing.")
    ] = False,
    seed: SeedOption = 1,
    rides: Annotated[
        int,
        typer.Option(
            parser=read_rides, metavar="NUMBER", help="Rides of each kind, every one with other draws."
        ),
    ] = 50,
    out: OutOption = None,
    force: ForceOption = False,
    controller: ControllerOption = None,
    as_json: JsonOption = False,
) -> None:
    """Hold a bike against the timing and safety rules, healthy and under faults.

    A rule holds, fails, or was not shown: then no ride came to the point, although up to four times as many
    rides of its kinds were ridden. Exit code 0 if no rule fails, 1 if one fails. Writes verify.json, and a
    picture of the worst case of every rule that fails. Ctrl-C keeps what was ridden until then (exit code
    130). What holds here is a reason to try carefully, no approval.

    With --faults each input fails in every way, at five speeds, judged by true watts, true speed and true
    crank; writes faults.json and faults.png. Exit code 1 if a cell fails that the hazard table doesn't know.

    Example: `treadle verify folding --rule "steady help" --rides 200`
    """
    if faults:
        if controller is not None:
            raise RequestError("--faults and --controller are both given, allowed is one of them")
        if not verify_faults_command(FaultsRequest(bike, rule, seed, out, force), as_json):
            raise typer.Exit(1)
        return
    request = VerifyRequest(bike, rule, seed, rides, out, force, controller)
    with progress_bar("riding") as done:
        result = verify(request, done, say)
    if as_json:
        print(json.dumps(result.as_json(), allow_nan=False))
    else:
        print_verdicts(result)
    if result.interrupted:
        say(_cut_short(result))
        sys.stdout.flush()
        sys.exit(INTERRUPTED)
    if result.fails:
        raise typer.Exit(1)


def _cut_short(result: VerifyResult) -> str:
    """Say how much was ridden: of every kind about as much."""
    ridden = sorted(result.ridden.values())
    of_each = f"{ridden[0]} to {ridden[-1]}" if ridden[0] != ridden[-1] else str(ridden[0])
    of_all = f"{of_each} of {result.request.rides} of each kind"
    return f"interrupted; what was ridden until then is judged and written: {of_all}"
