"""`treadle commission` on the command line: its options, and the list as it is ticked."""

import json
from pathlib import Path
from typing import Annotated

import typer

from host_sim.cli.at_the_board import asking, live_board, utc_now
from host_sim.cli.options import JsonOption
from host_sim.cli.options import seconds as read_seconds
from host_sim.cli.saying import complain
from host_sim.cli.watch import DeskOption, FilesOption, HurryOption, PortOption
from host_sim.commands.commission import CommissionRequest, commission
from host_sim.commands.watch import require_link
from host_sim.textfile import spoken


def commission_command(
    bike: Annotated[str, typer.Argument(help="Bike file whose settings are on the board.")],
    by: Annotated[str, typer.Option(help="Who does the work; stands in the record.")],
    port: PortOption = None,
    desk: DeskOption = False,
    files: FilesOption = None,
    hurry: HurryOption = False,
    skip: Annotated[
        list[str] | None, typer.Option(metavar="ITEM", help="Leave an item out; may be given again.")
    ] = None,
    seconds: Annotated[
        float, typer.Option(parser=read_seconds, metavar="SECONDS", help="How long an item may take.")
    ] = 120.0,
    out: Annotated[
        Path | None, typer.Option(metavar="FILE", help="The record. Default: commission-BIKE.json.")
    ] = None,
    force: Annotated[bool, typer.Option("--force", help="Replace a record that exists.")] = False,
    as_json: JsonOption = False,
) -> None:
    """Go through the first-power checklist; it ticks itself from what the board tells.

    Driven wheel off the ground, hands clear, a hand at the battery switch. What fails ends the list; the
    record says who saw what when, and what was left out. Exit code 0 if all of it holds, 1 if an item failed
    or was left out. With --desk a simulated rider does what the items ask for: that shows the list, and
    nothing about a bicycle.

    Example: `treadle commission longtail.toml --by "Ada"`
    """
    require_link()
    from host_sim.boardlink.port_choice import NoBoard
    from host_sim.watching.workshop import BoardTrouble

    request = CommissionRequest(bike, by, skip or [], seconds, out, force)
    try:
        with live_board(port, desk, bike, files, hurry) as board:
            result = commission(
                request, board, asking(board), lambda line: None if as_json else print(line), utc_now
            )
    except (BoardTrouble, NoBoard) as error:
        complain(str(error), 1)
        raise typer.Exit(1) from None
    if as_json:
        print(json.dumps(result.record, allow_nan=False))
    else:
        verdict = "all of it holds" if result.holds else "not passed: nobody sits on this bicycle yet"
        print(f"record  {spoken(result.file)}: {verdict}")
    if not result.holds:
        raise typer.Exit(1)
