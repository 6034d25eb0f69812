"""`treadle calibrate`: measures levers, battery, shunt and wheel at a live board, into the bike file."""

import json
from collections.abc import Callable
from pathlib import Path
from typing import Annotated, Any

import typer

from host_sim.bikes.guess_marks import without_guess_marks
from host_sim.bikes.load import BIKES, load_bike
from host_sim.bikes.model import Bike
from host_sim.boardlink.manifest import program_version
from host_sim.cli.at_the_board import asking, live_board, utc_now
from host_sim.cli.options import JsonOption
from host_sim.cli.saying import complain
from host_sim.cli.watch import DeskOption, FilesOption, HurryOption, PortOption
from host_sim.commissioning.calibration import STEP_NAMES, Measuring, run_calibration
from host_sim.commissioning.live import BoardAtHand
from host_sim.commissioning.record import Entry, record_of
from host_sim.errors import RequestError
from host_sim.outputs import Delivery, refuse_missing_folder
from host_sim.refusals import closest
from host_sim.textfile import TOML_BYTES_MAX, find_file, read_text, spoken
from host_sim.watching.asking import require_link

HEADING = "treadle calibration 1"


class CalibrateRequest:
    """The user, the bike file, the steps, and the record's file."""

    def __init__(self, bike: str, by: str, only: list[str], out: Path | None, force: bool) -> None:
        """Check everything before a port is opened; RequestError says what is wrong."""
        self.path = find_file(bike, BIKES, (".toml",), "bike")
        self.bike = load_bike(self.path)
        if self.path.resolve().parent == BIKES:
            raise RequestError(f"BIKE is the example {self.path.stem}, allowed is a bike file of your own")
        if not by.strip():
            raise RequestError("--by is empty, allowed is the name of the person who measures")
        self.by = by.strip()
        for name in only:
            if name not in STEP_NAMES:
                raise RequestError(f'--only is "{name[:60]}", {closest(name, list(STEP_NAMES))}')
        self.only = tuple(only)
        self.out = out or Path(f"calibration-{self.bike.name}.json")
        self.force = force
        if self.out.suffix != ".json":
            raise RequestError(f"--out is {spoken(self.out)}, allowed is a file that ends in .json")
        refuse_missing_folder(self.out, "--out")


class CalibrateResult:
    """The entries of the steps, the record, and the settings sent to the board."""

    def __init__(self, record: dict[str, Any], entries: list[Entry], file: Path) -> None:
        """Store the results."""
        self.record = record
        self.entries = entries
        self.file = file


def calibrate(
    request: CalibrateRequest,
    board: BoardAtHand,
    ask: Callable[[str], str],
    say: Callable[[str], None],
    now: Callable[[], str],
) -> CalibrateResult:
    """Measure, write the bike file and the record, and send changed settings to the board.

    The new bike file is read once before it replaces the old one; an interruption before that changes
    nothing.
    """
    path = request.out
    with (
        Delivery(path.parent, (path.name,), request.force) as delivery,
        Delivery(request.path.parent, (request.path.name,), True, "BIKE") as of_bike,
    ):
        name, begun = board.name(), now()
        measuring = Measuring(board, request.bike, ask, say)
        entries = run_calibration(measuring, request.only, now)
        new = of_bike.place(request.path.name)
        new.write_text(_with(request, measuring.found, begun[:10]), encoding="utf-8")
        changes = changed_settings(request.bike, load_bike(new))
        record = record_of(
            HEADING,
            request.bike.name,
            name,
            request.by,
            entries,
            {
                "treadle": program_version(),
                "begun": begun,
                "ended": now(),
                "found": measuring.found,
                "settings": changes,
                "notes": measuring.notes,
                "known_values": measuring.known_values,
            },
        )
        text = json.dumps(record, indent=1, allow_nan=False) + "\n"
        delivery.place(path.name).write_text(text, encoding="utf-8")
        if changes:
            board.change(changes)
        if measuring.found:
            of_bike.deliver()
        delivery.deliver()
    return CalibrateResult(record, entries, path)


def changed_settings(before: Bike, after: Bike) -> dict[str, int]:
    """Return the settings that change with the new bike file."""
    old = before.firmware_settings.as_dict()
    return {name: value for name, value in after.firmware_settings.as_dict().items() if old[name] != value}


def _with(request: CalibrateRequest, found: dict[str, float], day: str) -> str:
    """Return the bike file's text with the new values; comments say who measured them when."""
    import tomlkit
    from tomlkit.items import Table

    document = tomlkit.parse(read_text(request.path, TOML_BYTES_MAX))
    for dotted, value in found.items():
        section, key = dotted.split(".")
        table = document[section]
        if isinstance(table, Table):
            table[key] = value
            # A name may contain what a comment can't.
            by = " ".join("".join(one if one.isprintable() else " " for one in request.by).split())
            table[key].comment(f"measured by {by}, {day}")
    return without_guess_marks(tomlkit.dumps(document), found)


def calibrate_command(
    bike: Annotated[str, typer.Argument(help="Your bike file, to which the measured values are written.")],
    by: Annotated[
        str, typer.Option(help="Name of the person who measures, for the record and the bike file.")
    ],
    port: PortOption = None,
    desk: DeskOption = False,
    files: FilesOption = None,
    hurry: HurryOption = False,
    only: Annotated[
        list[str] | None, typer.Option(metavar="STEP", help="Measure only this step; repeatable.")
    ] = None,
    out: Annotated[
        Path | None, typer.Option(metavar="FILE", help="File for the record. Default: calibration-BIKE.json.")
    ] = None,
    force: Annotated[bool, typer.Option("--force", help="Replace a record that exists.")] = False,
    as_json: JsonOption = False,
) -> None:
    """Measure throttle, selector, brakes, battery, shunt and wheel at the live board, step by step.

    Driven wheel off the ground, brake pulled or motor controller unplugged. A reading that jumps, is in the
    wrong order or is impossible is refused with the reason, and the step is repeated. The values are written
    to the bike file, with name and date, and to the board. With --desk the simulated rider doesn't pedal.

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
    print(f"bike    {spoken(request.path)}" + ("" if record["found"] else ": unchanged"))
    print(f"record  {spoken(result.file)}")
