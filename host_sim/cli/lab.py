"""`treadle lab` on the command line: its options, and the address it prints."""

from pathlib import Path
from typing import Annotated

import typer

from host_sim.cli.options import number
from host_sim.commands.lab import PORT, LabFiles, LabRequest, lab, opened
from host_sim.errors import RequestError
from host_sim.lab.runtime import FILE
from host_sim.lab.teacher_pack import DEFAULT_FOLDER


def _whole(name: str, text: str, allowed: str) -> int:
    """Read a whole number; RequestError names the option."""
    value = number(name, text, allowed)
    if value != value // 1:
        raise RequestError(f"{name} is {text[:60]!r}, allowed is {allowed}")
    return int(value)


def _lesson(text: str) -> int:
    return _whole("LESSON", text, "a whole number, 1 to 6")


def _port(text: str) -> int:
    return _whole("--port", text, "a whole number, 1024 to 65535, or 0 for any free one")


def lab_command(
    lesson: Annotated[
        int | None, typer.Argument(parser=_lesson, metavar="[LESSON]", help="Open this lesson, 1 to 6.")
    ] = None,
    port: Annotated[
        int, typer.Option(parser=_port, metavar="NUMBER", help="Port on this computer; 0 for any free one.")
    ] = PORT,
    no_browser: Annotated[bool, typer.Option("--no-browser", help="Print the address only.")] = False,
    export: Annotated[
        Path | None,
        typer.Option("--export", metavar="DIR", help="Write the lab for browsers without Python, and end."),
    ] = None,
    runtime: Annotated[
        Path | None,
        typer.Option(
            "--runtime",
            metavar="FILE",
            help=f"With --export: Python for browsers, {FILE}. Without it from the cache, or once from npm.",
        ),
    ] = None,
    teacher: Annotated[
        bool, typer.Option("--teacher", help="Write aims, times, answers and a worksheet, and end.")
    ] = False,
    out: Annotated[
        Path | None,
        typer.Option(
            "--out", metavar="DIR", help=f"With --teacher: where to, {DEFAULT_FOLDER} if not given."
        ),
    ] = None,
) -> None:
    """Open the lessons: the real firmware on the bench, while you move a slider.

    1 two channels, 2 thresholds, 3 slew, 4 the power loop, 5 selector, throttle and place, 6 break it, and an
    editor for a controller of your own. Works without a network. Ctrl-C ends it.

    Example: `treadle lab 4`
    """
    files = LabFiles(export, runtime, teacher, out, lesson)
    if files.wanted():
        for sentence in files.write():
            print(sentence)
        return
    request = LabRequest(lesson, port, not no_browser)
    print(f"The lab is at {request.url} until you press Ctrl-C.", flush=True)
    if not opened(request):
        print("No browser opened: copy the address into one, the whole of it.", flush=True)
    lab(request)
