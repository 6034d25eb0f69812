"""`treadle watch` on the command line: its options, the page or the lines, and the summary."""

import json
from collections.abc import Iterator
from contextlib import ExitStack, contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from host_sim.cli.options import DEFAULT_BIKE, JsonOption
from host_sim.cli.options import seconds as read_seconds
from host_sim.cli.saying import complain, say
from host_sim.commands.watch import AskRequest, WatchRequest, WatchResult, ask, require_link, watch
from host_sim.errors import RequestError
from host_sim.textfile import spoken

if TYPE_CHECKING:
    from host_sim.watching.keys import Stop
    from host_sim.watching.record_file import RecordFile
    from host_sim.watching.step_record import StepRecord

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
