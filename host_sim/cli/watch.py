"""`treadle watch`: see a board ride, record it; or ask it for its edges and settings while it stands."""

import json
import time
from collections.abc import Iterator
from contextlib import ExitStack, contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from host_sim.cli.options import DEFAULT_BIKE, JsonOption
from host_sim.cli.options import seconds as read_seconds
from host_sim.cli.saying import complain, say
from host_sim.errors import RequestError
from host_sim.textfile import spoken
from host_sim.watching.asking import AskRequest, ask, open_chosen, require_link
from host_sim.watching.watch_result import WatchResult

if TYPE_CHECKING:
    from host_sim.watching.keys import Stop
    from host_sim.watching.record_file import RecordFile
    from host_sim.watching.session import ClosablePort, View
    from host_sim.watching.step_record import StepRecord

SECONDS_MAX = 1_000_000.0
DeskOption = Annotated[bool, typer.Option("--desk", help="Start the desk board, which has no hardware.")]
BikeOption = Annotated[str | None, typer.Option(help="With --desk: the bike. Default: cargo_trike.")]
FilesOption = Annotated[
    Path | None, typer.Option(help="With --desk: folder of a desk bundle, where settings stay.")
]
HurryOption = Annotated[bool, typer.Option("--hurry", help="With --desk: ride as fast as the computer can.")]
PortOption = Annotated[str | None, typer.Option(help="Serial port of the board. Default: the only one.")]
RecordOption = Annotated[
    Path | None,
    typer.Option(help="Record every frame in this CSV file, every step beside it."),
]
SecondsOption = Annotated[
    float | None,
    typer.Option(parser=read_seconds, metavar="SECONDS", help="End after so long. Default: q or Ctrl-C."),
]
PlainOption = Annotated[bool, typer.Option("--plain", help="Lines of text instead of the page.")]
CaptureOption = Annotated[
    Path | None, typer.Option(help="Only ask for the last 512 crank edges, into this file for inspect.")
]
BlackBoxOption = Annotated[
    Path | None,
    typer.Option("--blackbox", help="Only fetch the last 20 s, or those before a fault, for ride --replay."),
]
SettingsOption = Annotated[bool, typer.Option("--settings", help="Only print the settings in force.")]
SetOption = Annotated[
    list[str] | None,
    typer.Option("--set", metavar="NAME=VALUE", help="Only change this setting; may be given again."),
]
ClearOption = Annotated[bool, typer.Option("--clear-fault", help="Only clear the fault.")]
ForceOption = Annotated[bool, typer.Option("--force", help="Replace a file that exists.")]


class WatchRequest:
    """What is asked for: the port, how long, and the record."""

    def __init__(self, port: str | None, record: Path | None, seconds: float | None, force: bool) -> None:
        """Check all of it; RequestError says what is wrong, before a port is opened."""
        require_link()
        from host_sim.boardlink.port_choice import choose_port

        if seconds is not None and not 1 <= seconds <= SECONDS_MAX:
            raise RequestError(f"--seconds is {seconds:g}, allowed is a number from 1 to {SECONDS_MAX:.0f}")
        self.given_port = port
        self.seconds = seconds
        self.record = record
        self.force = force
        self.port = choose_port(port)

    def open_record(self) -> "RecordFile | None":
        """Return the record, ready to be written to, if one is asked for."""
        from host_sim.watching.record_file import RecordFile

        return None if self.record is None else RecordFile(self.record, self.force)

    def open_steps(self) -> "StepRecord | None":
        """Return the record of the steps, which lies beside the record of the frames."""
        from host_sim.replay.log_file import LogWriter
        from host_sim.watching.step_record import StepRecord, steps_path

        if self.record is None:
            return None
        if steps_path(self.record) == self.record:
            raise RequestError(
                f"--record is {spoken(self.record)}, allowed is another ending than .steps, which "
                "the file of the steps beside it has"
            )
        return StepRecord(LogWriter(steps_path(self.record), self.force, "--record"))


def watch(
    request: WatchRequest,
    record: "RecordFile | None",
    view: "View",
    steps: "StepRecord | None" = None,
) -> WatchResult:
    """Watch until the view or the time ends it. RequestError if the port can't be opened."""
    from host_sim.replay.log_file import LogFailed
    from host_sim.watching.record_file import RecordingFailed
    from host_sim.watching.session import Session

    def connect() -> "tuple[str, ClosablePort]":
        return open_chosen(request.given_port)

    session = Session(connect, view, record, request.seconds, time.monotonic, time.sleep, steps)
    failure = ""
    try:
        session.run()
    except (RecordingFailed, LogFailed) as error:
        failure = str(error)
    return WatchResult(session.watched, session.now_s, request.record, failure, steps)


def watch_command(
    port: PortOption = None,
    desk: DeskOption = False,
    bike: BikeOption = None,
    files: FilesOption = None,
    hurry: HurryOption = False,
    record: RecordOption = None,
    seconds: SecondsOption = None,
    plain: PlainOption = False,
    capture: CaptureOption = None,
    blackbox: BlackBoxOption = None,
    settings: SettingsOption = False,
    changes: SetOption = None,
    clear_fault: ClearOption = False,
    force: ForceOption = False,
    as_json: JsonOption = False,
) -> None:
    """See a board ride: channels, cadence, state, power, faults. A bell tells of a missed magnet.

    It goes on when the board is unplugged and comes back. With --capture, --blackbox, --settings, --set or
    --clear-fault the board is asked only this, and the command ends; what it allows only while the bicycle
    stands waits for that. With --desk no board is needed: one is started, and a simulated rider rides it.

    A changed setting is stored on the board and is not checked against the rules: `treadle verify` rides
    them. Wheel off the ground, hands clear, before you try it.

    Example: `treadle watch --record ride.csv`
    """
    require_link()
    from host_sim.boardlink.port_choice import NoBoard
    from host_sim.watching.workshop import BoardTrouble

    asked_only = capture is not None or blackbox is not None or settings or bool(changes) or clear_fault
    if asked_only and (record is not None or seconds is not None or plain):
        raise RequestError(
            "--record, --seconds and --plain belong to watching, allowed without --capture, --blackbox, "
            "--settings, --set and --clear-fault"
        )
    try:
        with chosen_port(port, desk, bike, files, hurry) as name:
            if asked_only:
                _ask(
                    AskRequest(name, clear_fault, changes or [], capture, settings, force, blackbox), as_json
                )
            else:
                _watch(WatchRequest(name, record, seconds, force), plain, as_json)
    except (BoardTrouble, NoBoard) as error:
        complain(str(error), 1)
        raise typer.Exit(1) from None


@contextmanager
def chosen_port(
    port: str | None,
    desk: bool,
    bike: str | None,
    files: Path | None,
    hurry: bool = False,
    words: tuple[str, ...] = (),
) -> Iterator[str | None]:
    """Give the port that was named, or that of a desk board started for the block with its own `words`."""
    from host_sim.boardlink.desk import desk_port

    if not desk:
        if bike is not None or files is not None or hurry:
            raise RequestError("--bike, --files and --hurry belong to --desk, allowed is with it")
        yield port
        return
    if port is not None:
        raise RequestError("--port and --desk are both given, allowed is one of them")
    if bike is not None and files is not None:
        raise RequestError("--bike and --files are both given, allowed is one of them")
    with desk_port(bike or DEFAULT_BIKE, files, hurry, words) as name:
        yield name


def _ask(request: AskRequest, as_json: bool) -> None:
    done = ask(request, lambda line: None if as_json else print(line), say)
    if as_json:
        print(json.dumps(done, allow_nan=False))


def _watch(request: WatchRequest, plain: bool, as_json: bool) -> None:
    from host_sim.watching.keys import stop_by_signal

    with ExitStack() as open_files, stop_by_signal() as stop:
        record = request.open_record()
        if record is not None:
            open_files.enter_context(record)
        steps = request.open_steps()
        if steps is not None:
            open_files.enter_context(steps.log)
        result = _seen(request, record, steps, stop, plain, as_json)
    if as_json:
        print(json.dumps(result.as_json(), allow_nan=False))
    else:
        _print_summary(result)
    if result.complaint:
        say(result.complaint)
        raise typer.Exit(1)


def _seen(
    request: WatchRequest,
    record: "RecordFile | None",
    steps: "StepRecord | None",
    stop: "Stop",
    plain: bool,
    as_json: bool,
) -> WatchResult:
    """Watch in the way that suits where the output goes."""
    from rich.console import Console

    from host_sim.watching.keys import single_keys
    from host_sim.watching.live_page import LivePage
    from host_sim.watching.plain_lines import Nothing, PlainLines
    from host_sim.watching.session import Ended

    def ended() -> None:
        if stop.wanted:
            raise Ended

    if as_json:
        return watch(request, record, Nothing(ended), steps)
    console = Console()
    if plain or not console.is_terminal or console.is_dumb_terminal:
        return watch(request, record, PlainLines(lambda line: print(line, flush=True), ended), steps)
    file = "" if request.record is None else spoken(request.record.name)
    with single_keys() as keys, LivePage(console, keys, file, ended) as page:
        return watch(request, record, page, steps)


def _print_summary(result: WatchResult) -> None:
    watched = result.watched
    frames = f"{watched.frames} frames in {result.seconds:.1f} s, {watched.lost.count} lost on the link"
    print(f"{frames}, {watched.damaged} pieces damaged, magnets missed {watched.missed.count} times")
    if result.file is not None and watched.frames:
        print(f"recorded in {spoken(result.file)}")
    if result.steps is not None and result.steps.steps:
        whence = "from the board's start" if result.steps.from_start else "from the middle of a ride"
        print(f"{result.steps.steps} steps, {whence}, in {spoken(result.steps.log.path)}")
