"""`treadle calibrate`: measures levers, battery, shunt and wheel at a live board, into the bike file."""

from collections.abc import Callable
from pathlib import Path
from typing import Annotated, Any

import typer

from host_sim.bikes.guess_marks import without_guess_marks
from host_sim.bikes.load import BIKES, load_bike
from host_sim.bikes.model import Bike
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
from host_sim.cli.options import JsonOption, check_names, check_out
from host_sim.cli.printing import print_json, printing_unless
from host_sim.commissioning.calibration import STEP_NAMES, Measuring, run_calibration
from host_sim.commissioning.live import BoardAtHand
from host_sim.commissioning.record import CALIBRATION, record_of
from host_sim.errors import RequestError
from host_sim.outputs import Delivery, whole_file, write_json
from host_sim.textfile import TOML_BYTES_MAX, find_file, read_text, spoken


class CalibrateRequest:
    """The user, the bike file, the steps, and the record's file."""

    def __init__(self, bike: str, by: str, only: list[str], out: Path | None, force: bool) -> None:
        """Check everything before a port is opened; RequestError says what is wrong."""
        self.path = find_file(bike, BIKES, (".toml",), "bike")
        self.bike = load_bike(self.path)
        if self.path.resolve().parent == BIKES:
            raise RequestError(f"BIKE is the example {self.path.stem}, allowed is a bike file of your own")
        self.by = person(by, "measures")
        self.only = check_names("--only", only, STEP_NAMES)
        self.out = out or Path(f"calibration-{self.bike.name}.json")
        self.force = force
        check_out(self.out, ".json")


def calibrate(
    request: CalibrateRequest,
    board: BoardAtHand,
    ask: Callable[[str], str],
    say: Callable[[str], None],
    now: Callable[[], str],
) -> dict[str, Any]:
    """Measure, write the bike file and the record, and send changed settings to the board; return the record.

    The new bike file is read once before it replaces the old one; an interruption before that changes
    nothing.
    """
    with (
        whole_file(request.out, request.force) as place,
        Delivery(request.path.parent, (request.path.name,), True, "BIKE") as of_bike,
    ):
        name, begun = board.name(), now()
        measuring = Measuring(board, request.bike, ask, say)
        entries = run_calibration(measuring, request.only, now)
        new = of_bike.place(request.path.name)
        new.write_text(_with(request, measuring.found, begun[:10]), encoding="utf-8")
        changes = changed_settings(request.bike, load_bike(new))
        record = record_of(
            CALIBRATION,
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
        write_json(place, record)
        if changes:
            board.change(changes)
        if measuring.found:
            of_bike.deliver()
    return record


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
    request = CalibrateRequest(bike, by, only or [], out, force)
    with live_board(port, desk, bike, files, hurry, ("--standing",)) as board:
        record = calibrate(request, board, asking(board), printing_unless(as_json), utc_now)
    if as_json:
        print_json(record)
        return
    for note in record["notes"]:
        print(f"note    {note}")
    changed = ", ".join(f"{name} = {value}" for name, value in record["settings"].items())
    print(f"board   {changed or 'nothing changed'}")
    print(f"bike    {spoken(request.path)}" + ("" if record["found"] else ": unchanged"))
    print(f"record  {spoken(request.out)}")
