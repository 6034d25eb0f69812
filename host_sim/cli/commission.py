"""`treadle commission`: the first-power checklist of one bike, checked against a live board."""

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Annotated, Any

import typer

from host_sim.bikes.load import load_bike
from host_sim.boardlink.manifest import program_version
from host_sim.cli.at_the_board import (
    DeskOption,
    FilesOption,
    HurryOption,
    PortOption,
    asking,
    live_board,
    person,
    utc_now,
)
from host_sim.cli.options import JsonOption, check_names, check_out, check_range
from host_sim.cli.options import seconds as read_seconds
from host_sim.cli.printing import print_json, printing_unless
from host_sim.commissioning.checklist import ITEM_NAMES, Checking, passed, run_checklist
from host_sim.commissioning.live import BoardAtHand
from host_sim.commissioning.record import COMMISSION, Entry, record_of
from host_sim.outputs import whole_file, write_json
from host_sim.textfile import spoken

SECONDS = (5.0, 3600.0)


class CommissionRequest:
    """The user, the bike, skipped items, the time limit of an item, and the record's file."""

    def __init__(
        self, bike: str, by: str, skip: list[str], seconds: float, out: Path | None, force: bool
    ) -> None:
        """Check everything before a port is opened; RequestError says what is wrong."""
        self.bike = load_bike(bike)
        self.by = person(by, "does the work")
        self.skip = check_names("--skip", skip, ITEM_NAMES)
        check_range("--seconds", seconds, SECONDS)
        self.seconds = seconds
        self.out = out or Path(f"commission-{self.bike.name}.json")
        self.force = force
        check_out(self.out, ".json")


@dataclass(frozen=True, slots=True)
class CommissionResult:
    """The record of the list, and its entries."""

    record: dict[str, Any]
    entries: list[Entry]

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
    with whole_file(request.out, request.force) as place:
        begun, name = now(), board.name()
        settings = board.settings()
        entries = run_checklist(Checking(board, request.bike, ask, say, request.seconds), request.skip, now)
        more = {
            "treadle": program_version(),
            "place": request.bike.place,
            "begun": begun,
            "ended": now(),
            "passed": passed(entries),
            "settings": settings,
        }
        record = record_of(COMMISSION, request.bike.name, name, request.by, entries, more)
        write_json(place, record)
    return CommissionResult(record, entries)


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
    request = CommissionRequest(bike, by, skip or [], seconds, out, force)
    with live_board(port, desk, bike, files, hurry) as board:
        result = commission(request, board, asking(board), printing_unless(as_json), utc_now)
    if as_json:
        print_json(result.record)
    else:
        verdict = "every item holds" if result.holds else "not passed: nobody may ride this bicycle yet"
        print(f"record  {spoken(request.out)}: {verdict}")
    if not result.holds:
        raise typer.Exit(1)
