"""`treadle lab`: serve the lessons to a local browser, export them, or write a teacher's pack."""

import contextlib
import webbrowser
from dataclasses import dataclass
from pathlib import Path
from typing import Annotated

import typer

from host_sim.cli.options import whole
from host_sim.errors import RequestError
from host_sim.lab.catalogue import check_number
from host_sim.lab.export import Export
from host_sim.lab.runtime import FILE
from host_sim.lab.server import LabServer
from host_sim.lab.teacher_pack import DEFAULT_FOLDER, write_pack

PORT = 8250
PORT_MAX = 65_535


class LabRequest:
    """The lesson, the port, and whether to open a browser."""

    def __init__(self, lesson: int | None, port: int, open_browser: bool) -> None:
        """Check everything and open the port; RequestError says what is wrong."""
        chosen = 1 if lesson is None else check_number(lesson)
        if port != 0 and not 1024 <= port <= PORT_MAX:
            raise RequestError(f"--port is {port}, allowed is 1024 to {PORT_MAX}, or 0 for any free one")
        self.server = LabServer(port)
        self.open_browser = open_browser
        self.url = self.server.address(chosen)


def lab(request: LabRequest) -> None:
    """Serve until interrupted; there is no other way to end it."""
    with request.server, contextlib.suppress(KeyboardInterrupt):
        request.server.serve_forever()


def opened(request: LabRequest) -> bool:
    """Open the address in a browser if the request asks for it; False if no browser opens."""
    return not request.open_browser or webbrowser.open(request.url)


@dataclass(frozen=True, slots=True)
class LabFiles:
    """What to write instead of serving: an export, or a teacher's pack."""

    export: Path | None
    runtime: Path | None
    teacher: bool
    out: Path | None
    lesson: int | None

    def wanted(self) -> bool:
        """Return whether files are requested; RequestError if the options can't be combined."""
        if self.runtime is not None and self.export is None:
            raise RequestError("--runtime is allowed only with --export DIR")
        if self.out is not None and not self.teacher:
            raise RequestError("--out is allowed only with --teacher")
        if self.teacher and self.export is not None:
            raise RequestError(
                "--teacher and --export can't be combined: one is for you, the other for pupils"
            )
        if self.lesson is not None and (self.teacher or self.export is not None):
            raise RequestError(f"LESSON is {self.lesson}, but --export and --teacher are for all lessons")
        return self.teacher or self.export is not None

    def write(self) -> list[str]:
        """Write them and return sentences about it."""
        if self.export is not None:
            notice = Export(self.export, self.runtime).write()
            done = (
                f"{self.export} contains the lab for browsers: double-click index.html, or put the folder on "
                "any web server."
            )
            return [done, *([] if notice is None else [notice])]
        teacher, sheet = write_pack(self.out or Path(DEFAULT_FOLDER))
        return [f"{teacher} has aims, times and answers; {sheet} is for pupils. Open them and print."]


def _lesson(text: str) -> int:
    return whole("LESSON", text, "a whole number, 1 to 6")


def _port(text: str) -> int:
    return whole("--port", text, "a whole number, 1024 to 65535, or 0 for any free one")


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
        typer.Option("--export", metavar="DIR", help="Write the lab for browsers without Python, and exit."),
    ] = None,
    runtime: Annotated[
        Path | None,
        typer.Option(
            "--runtime",
            metavar="FILE",
            help=f"With --export: Python for browsers, {FILE}. Default: the cache, else downloaded from npm.",
        ),
    ] = None,
    teacher: Annotated[
        bool, typer.Option("--teacher", help="Write aims, times, answers and a worksheet, and exit.")
    ] = False,
    out: Annotated[
        Path | None,
        typer.Option("--out", metavar="DIR", help=f"With --teacher: the folder. Default: {DEFAULT_FOLDER}."),
    ] = None,
) -> None:
    """Open the lessons: move a slider and see what the real firmware does on the bench.

    1 two channels, 2 thresholds, 3 slew, 4 the power loop, 5 selector, throttle and place, 6 break it, and an
    editor for your own controller. Works without a network. Ctrl-C ends it.

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
        print("No browser opened: copy the whole address into one.", flush=True)
    lab(request)
