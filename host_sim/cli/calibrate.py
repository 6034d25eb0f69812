"""`treadle calibrate` on the command line: its options, its steps, and what it says."""

import json
from pathlib import Path
from typing import Annotated

import typer

from host_sim.cli.at_the_board import asking, live_board, utc_now
from host_sim.cli.options import JsonOption
from host_sim.cli.saying import complain
from host_sim.cli.watch import DeskOption, FilesOption, HurryOption, PortOption
from host_sim.commands.calibrate import CalibrateRequest, calibrate
from host_sim.commands.watch import require_link
from host_sim.textfile import spoken


def calibrate_command(
    bike: Annotated[str, typer.Argument(help="Your bike file; it gets what is measured.")],
    by: Annotated[str, typer.Option(help="Who measures; stands in the record and in the bike file.")],
    port: PortOption = None,
    desk: DeskOption = False,
    files: FilesOption = None,
    hurry: HurryOption = False,
    only: Annotated[
        list[str] | None, typer.Option(metavar="STEP", help="Only this step; may be given again.")
    ] = None,
    out: Annotated[
        Path | None, typer.Option(metavar="FILE", help="The record. Default: calibration-BIKE.json.")
    ] = None,
    force: Annotated[bool, typer.Option("--force", help="Replace a record that exists.")] = False,
    as_json: JsonOption = False,
) -> None:
    """Measure throttle, selector, battery, shunt and wheel at the live board, step by step.

    Driven wheel off the ground, brake pulled or motor controller unplugged. A reading that jumps, lies in the
    wrong order or can't be true is refused with the reason, and asked for again. What is measured goes into
    the bike file, with who and when, and onto the board. With --desk nobody pedals meanwhile.

    Example: `treadle calibrate longtail.toml --by "Ada"`
    """
    require_link()
    from host_sim.boardlink.port_choice import NoBoard
    from host_sim.watching.workshop import BoardTrouble

    request = CalibrateRequest(bike, by, only or [], out, force)
    try:
        with live_board(port, desk, bike, files, hurry, ("--standing",)) as board:
            result = calibrate(
                request, board, asking(board), lambda line: None if as_json else print(line), utc_now
            )
    except (BoardTrouble, NoBoard) as error:
        complain(str(error), 1)
        raise typer.Exit(1) from None
    record = result.record
    if as_json:
        print(json.dumps(record, allow_nan=False))
        return
    for note in record["notes"]:
        print(f"note    {note}")
    changed = ", ".join(f"{name} = {value}" for name, value in record["settings"].items())
    print(f"board   {changed or 'nothing changed'}")
    print(f"bike    {spoken(request.path)}" + ("" if record["found"] else ": nothing new"))
    print(f"record  {spoken(result.file)}")
