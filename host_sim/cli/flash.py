"""`treadle flash` on the command line: its options, and what it says."""

import json
import sys
from pathlib import Path
from typing import Annotated, NoReturn

import typer

from host_sim.boardlink.copying import InterruptedHalfWay
from host_sim.boardlink.raw_board import BoardTrouble
from host_sim.cli.bundle import BoardOption, FormOption
from host_sim.cli.options import DEFAULT_BIKE, BikeArgument, JsonOption
from host_sim.cli.options import rides as read_rides
from host_sim.cli.saying import complain, say
from host_sim.commands.flash import FlashRequest, FlashResult, claimed, flash, judged
from host_sim.progress import progress_bar
from host_sim.rules.judge import Verdict
from host_sim.textfile import spoken

INTERRUPTED = 130


def flash_command(
    board: BoardOption,
    bike: BikeArgument = DEFAULT_BIKE,
    port: Annotated[str | None, typer.Option(help="Serial port. Default: the only USB port.")] = None,
    accept: Annotated[
        list[str] | None,
        typer.Option(metavar="RULE", help="Flash although this rule fails; once for each rule."),
    ] = None,
    rides: Annotated[
        int,
        typer.Option(
            parser=read_rides, metavar="NUMBER", help="Rides of each kind to hold against the rules."
        ),
    ] = 5,
    form: FormOption = None,
    dry_run: Annotated[bool, typer.Option("--dry-run", help="Judge and show, copy nothing.")] = False,
    out: Annotated[Path | None, typer.Option(help="Folder to make for the desk, which has no port.")] = None,
    force: Annotated[
        bool, typer.Option("--force", help="Replace a main.py that is not ours, or an older bundle in --out.")
    ] = False,
    as_json: JsonOption = False,
) -> None:
    """Put the firmware and the settings of a bike onto a board, and check what arrived.

    Rides the bike on the bench first: a rule that fails must be accepted by its name; one that no ride could
    try out is named and doesn't stop the copying. Then looks at the board's MicroPython, copies, and has
    every file hashed on the board. The desk gets a folder (--out).

    Example: `treadle flash --board rpi_pico tandem --dry-run`
    """
    try:
        request = FlashRequest(board, bike, port, form, accept or [], rides, out, dry_run, force)
        with claimed(request):
            with progress_bar("riding") as done:
                ruling = judged(request, done, say)
            with progress_bar("copying") as done:
                result = flash(request, ruling, done)
    except BoardTrouble as error:
        _end(str(error), 1)
    except InterruptedHalfWay as error:
        _end(f"interrupted: {error}", INTERRUPTED)
    if as_json:
        print(json.dumps(result.as_json(), allow_nan=False))
    else:
        _print_flash(result)
    if not result.holds:
        raise typer.Exit(1)


def _end(sentence: str, code: int) -> NoReturn:
    """Leave with a sentence; not by typer, whose word on interruptions would be wrong here."""
    complain(sentence, code)
    sys.exit(code)


def _print_flash(result: FlashResult) -> None:
    ruling, made = result.ruling, result.bundle
    bike = spoken(made.manifest["bike"])
    counts = f"{ruling.held} rules hold, {len(ruling.failing)} fail, in {ruling.rides} rides of each kind"
    if ruling.untried:
        counts += f"; {len(ruling.untried)} could not be tried out"
    print(f"{bike} on {made.target.title}: {counts}")
    for verdict in ruling.untried:
        print(f"  not tried out: {verdict.rule.name}: {verdict.why_not_shown}; more --rides may get there")
    for verdict in ruling.accepted:
        print(f"  accepted: {_told(verdict)}")
    for verdict in ruling.refused:
        print(f"  fails: {_told(verdict)}")
        print(f"    {verdict.rule.sentence} ({verdict.rule.source})")
    if ruling.refused:
        given = spoken(result.request.bike_given)
        names = " ".join(f'--accept "{verdict.rule.name}"' for verdict in ruling.refused)
        print(f"Nothing was copied. `treadle verify {given}` tells more; to flash all the same: {names}")
    elif not result.flashed:
        for row in made.manifest["files"]:
            print(f"  {row['size_bytes']:>7}  {row['sha256'][:12]}  {row['file']}")
        print(
            f"{len(made.files)} files with manifest.json, {made.size_bytes} bytes. Dry run: nothing copied."
        )
    else:
        _print_done(result)


def _told(verdict: Verdict) -> str:
    return f"{verdict.rule.name}: {verdict.measured:.4g} against {verdict.limit:.4g} {verdict.rule.unit}"


def _print_done(result: FlashResult) -> None:
    plan = result.plan
    assert plan is not None
    for name, (old, new) in result.settings_replaced.items():
        print(f"  setting replaced: {name} was {old}, is {new}")
    if result.request.out is not None:
        print(f"{len(plan.copied)} files in {spoken(result.request.out)}")
        print(f"next: cd {spoken(result.request.out)} && micropython main.py")
        return
    if plan.nothing_to_do:
        print(f"The board at {result.request.port} has all {len(plan.unchanged)} files already.")
    else:
        counts = (
            f"{len(plan.copied)} copied, {len(plan.unchanged)} there already, {len(plan.removed)} removed"
        )
        print(f"{counts}; every file was hashed on the board at {result.request.port}.")
    print(f"MicroPython {result.micropython}. It is not riding yet: restart it to ride.")
    print("First with the driven wheel off the ground, hands clear, and the battery switch within reach.")
