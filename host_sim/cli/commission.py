"""`treadle commission`: the first-power checklist of one bike, checked against a live board."""

import json
from collections.abc import Callable
from pathlib import Path
from typing import Annotated, Any

import typer

from host_sim.bikes.load import load_bike
from host_sim.boardlink.manifest import program_version
from host_sim.cli.at_the_board import asking, live_board, utc_now
from host_sim.cli.options import JsonOption
from host_sim.cli.options import seconds as read_seconds
from host_sim.cli.saying import complain
from host_sim.cli.watch import DeskOption, FilesOption, HurryOption, PortOption
from host_sim.commissioning.checklist import ITEM_NAMES, Hands, passed, run_checklist
from host_sim.commissioning.live import BoardAtHand
from host_sim.commissioning.record import Entry, record_of
from host_sim.errors import RequestError
from host_sim.outputs import Delivery, refuse_missing_folder
from host_sim.refusals import closest
from host_sim.textfile import spoken
from host_sim.watching.asking import require_link

HEADING = "treadle commission 1"
SECONDS_LEAST, SECONDS_MOST = 5.0, 3600.0


class CommissionRequest:
    """The user, the bike, skipped items, the time limit of an item, and the record's file."""

    def __init__(
        self, bike: str, by: str, skip: list[str], seconds: float, out: Path | None, force: bool
    ) -> None:
        """Check everything before a port is opened; RequestError says what is wrong."""
        self.bike = load_bike(bike)
        if not by.strip():
            raise RequestError("--by is empty, allowed is the name of the person who does the work")
        self.by = by.strip()
        for name in skip:
            if name not in ITEM_NAMES:
                raise RequestError(f'--skip is "{name[:60]}", {closest(name, list(ITEM_NAMES))}')
        self.skip = tuple(skip)
        if not SECONDS_LEAST <= seconds <= SECONDS_MOST:
            raise RequestError(
                f"--seconds is {seconds:g}, allowed is {SECONDS_LEAST:g} to {SECONDS_MOST:g} (s)"
            )
        self.seconds = seconds
        self.out = out or Path(f"commission-{self.bike.name}.json")
        self.force = force
        if self.out.suffix != ".json":
            raise RequestError(f"--out is {spoken(self.out)}, allowed is a file that ends in .json")
        refuse_missing_folder(self.out, "--out")


class CommissionResult:
    """The entries of the list and its record."""

    def __init__(self, record: dict[str, Any], entries: list[Entry], file: Path) -> None:
        """Store the results."""
        self.record = record
        self.entries = entries
        self.file = file

    @property
    def holds(self) -> bool:
        """Whether nothing failed and nothing was skipped."""
        return passed(self.entries)


def commission(
    request: CommissionRequest,
    board: BoardAtHand,
    ask: Callable[[str], str],
    say: Callable[[str], None],
    now: Callable[[], str],
) -> CommissionResult:
    """Go through the list and write its record, even if an item fails; an interruption leaves no file."""
    path = request.out
    with Delivery(path.parent, (path.name,), request.force) as delivery:
        begun, name = now(), board.name()
        settings = board.settings()
        entries = run_checklist(Hands(board, request.bike, ask, say, request.seconds), request.skip, now)
        more = {
            "treadle": program_version(),
            "place": request.bike.place,
            "begun": begun,
            "ended": now(),
            "passed": passed(entries),
            "settings": settings,
        }
        record = record_of(HEADING, request.bike.name, name, request.by, entries, more)
        text = json.dumps(record, indent=1, allow_nan=False) + "\n"
        delivery.place(path.name).write_text(text, encoding="utf-8")
        delivery.deliver()
    return CommissionResult(record, entries, path)


def commission_command(
    bike: Annotated[str, typer.Argument(help="The bike file whose settings are on the board.")],
    by: Annotated[str, typer.Option(help="Name of the person who does the work, for the record.")],
    port: PortOption = None,
    desk: DeskOption = False,
    files: FilesOption = None,
    hurry: HurryOption = False,
    skip: Annotated[
        list[str] | None, typer.Option(metavar="ITEM", help="Skip this item; repeatable.")
    ] = None,
    seconds: Annotated[
        float, typer.Option(parser=read_seconds, metavar="SECONDS", help="Time limit of an item.")
    ] = 120.0,
    out: Annotated[
        Path | None, typer.Option(metavar="FILE", help="File for the record. Default: commission-BIKE.json.")
    ] = None,
    force: Annotated[bool, typer.Option("--force", help="Replace a record that exists.")] = False,
    as_json: JsonOption = False,
) -> None:
    """Go through the first-power checklist; the board's telemetry ticks the items.

    Driven wheel off the ground, hands clear, a hand at the battery switch. A failed item ends the list; the
    record says who saw what and when, and what was skipped. Exit code 0 if every item holds, 1 if an item
    failed or was skipped. With --desk a simulated rider does what the items require: this shows the
    procedure, but says nothing about a bicycle.

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
        verdict = "every item holds" if result.holds else "not passed: nobody may ride this bicycle yet"
        print(f"record  {spoken(result.file)}: {verdict}")
    if not result.holds:
        raise typer.Exit(1)
