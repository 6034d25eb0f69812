"""`treadle watch`: shows and records what a board does, or sends it one request."""

import time
from contextlib import ExitStack
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from host_sim.cli.at_the_board import DeskOption, FilesOption, HurryOption, PortOption, chosen_port
from host_sim.cli.options import JsonOption
from host_sim.cli.options import seconds as read_seconds
from host_sim.cli.printing import print_json, printing_unless, whence
from host_sim.cli.saying import say
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
BikeOption = Annotated[str | None, typer.Option(help="With --desk: the bike to ride. Default: cargo_trike.")]
RecordOption = Annotated[
    Path | None,
    typer.Option(help="Record every frame in this CSV file, and every step in a .steps file."),
]
SecondsOption = Annotated[
    float | None,
    typer.Option(
        parser=read_seconds, metavar="SECONDS", help="End after this time. Default: until q or Ctrl-C."
    ),
]
PlainOption = Annotated[
    bool, typer.Option("--plain", help="Print lines of text instead of a full-screen page.")
]
CaptureOption = Annotated[
    Path | None, typer.Option(help="Only fetch the last 512 crank edges into this file, for treadle inspect.")
]
BlackBoxOption = Annotated[
    Path | None,
    typer.Option(
        "--blackbox", help="Only fetch the last 20 s, or the 20 s before a fault, for ride --replay."
    ),
]
SettingsOption = Annotated[bool, typer.Option("--settings", help="Only print the board's present settings.")]
SetOption = Annotated[
    list[str] | None,
    typer.Option("--set", metavar="NAME=VALUE", help="Only change this setting; repeatable."),
]
ClearOption = Annotated[bool, typer.Option("--clear-fault", help="Only clear the fault.")]
ForceOption = Annotated[bool, typer.Option("--force", help="Replace a file that exists.")]


class WatchRequest:
    """The port, the time limit, and the record."""

    def __init__(self, port: str | None, record: Path | None, seconds: float | None, force: bool) -> None:
        """Check everything before a port is opened; RequestError says what is wrong."""
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
        """Return the record, opened for writing, if one is requested."""
        from host_sim.watching.record_file import RecordFile

        return None if self.record is None else RecordFile(self.record, self.force)

    def open_steps(self) -> "StepRecord | None":
        """Return the record of the steps, in the same folder as the record of the frames."""
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
    """Watch until the user or the time limit ends it. RequestError if the port can't be opened."""
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
    """Show live what a board does: channels, cadence, state, power, faults; a bell for each missed magnet.

    It continues after the board was unplugged and plugged in again. --capture, --blackbox, --settings, --set
    and --clear-fault send one request instead, and the command ends; a request that needs a standing bicycle
    waits until it stands. With --desk no board is needed: a simulated one is started, with a simulated rider.

    A changed setting is stored on the board without a check against the rules; `treadle verify` does that.
    Lift the wheel off the ground and keep hands clear before you try it.

    Example: `treadle watch --record ride.csv`
    """
    require_link()
    asked_only = capture is not None or blackbox is not None or settings or bool(changes) or clear_fault
    if asked_only and (record is not None or seconds is not None or plain):
        raise RequestError(
            "--record, --seconds and --plain are for watching, allowed only without --capture, --blackbox, "
            "--settings, --set and --clear-fault"
        )
    with chosen_port(port, desk, bike, files, hurry) as name:
        if asked_only:
            asked = AskRequest(name, clear_fault, changes or [], capture, settings, force, blackbox)
            done = ask(asked, printing_unless(as_json), say)
            if as_json:
                print_json(done)
        else:
            _watch(WatchRequest(name, record, seconds, force), plain, as_json)


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
        print_json(result.as_json())
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
    """Watch with a page on a terminal, else with lines of text."""
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
        begun = whence(result.steps.from_start)
        print(f"{result.steps.steps} steps, {begun}, in {spoken(result.steps.log.path)}")
