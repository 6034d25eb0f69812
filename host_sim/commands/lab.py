"""`treadle lab`: serve the lessons to a browser here, write them for others, or write a teacher's pack."""

import contextlib
import webbrowser
from dataclasses import dataclass
from pathlib import Path

from host_sim.errors import RequestError
from host_sim.lab.catalogue import check_number
from host_sim.lab.export import Export
from host_sim.lab.server import LabServer
from host_sim.lab.teacher_pack import DEFAULT_FOLDER, write_pack

PORT = 8250
PORT_MAX = 65_535


class LabRequest:
    """Which lesson, on which port, with or without opening a browser."""

    def __init__(self, lesson: int | None, port: int, open_browser: bool) -> None:
        """Check everything and take the port; RequestError says what is wrong."""
        number = 1 if lesson is None else check_number(lesson)
        if port != 0 and not 1024 <= port <= PORT_MAX:
            raise RequestError(f"--port is {port}, allowed is 1024 to {PORT_MAX}, or 0 for any free one")
        self.server = LabServer(port)
        self.open_browser = open_browser
        self.url = self.server.address(number)


def lab(request: LabRequest) -> None:
    """Serve until interrupted, which is the way to end it."""
    with request.server, contextlib.suppress(KeyboardInterrupt):
        request.server.serve_forever()


def opened(request: LabRequest) -> bool:
    """Open the address in a browser, if that is wanted; False if there is none that opens."""
    return not request.open_browser or webbrowser.open(request.url)


@dataclass(frozen=True, slots=True)
class LabFiles:
    """What is to be written instead: an export, or a teacher's pack."""

    export: Path | None
    runtime: Path | None
    teacher: bool
    out: Path | None
    lesson: int | None

    def wanted(self) -> bool:
        """Tell whether files are wanted; RequestError if the options don't go together."""
        if self.runtime is not None and self.export is None:
            raise RequestError("--runtime goes with --export DIR")
        if self.out is not None and not self.teacher:
            raise RequestError("--out goes with --teacher")
        if self.teacher and self.export is not None:
            raise RequestError("--teacher and --export don't go together: pupils get the one, you the other")
        if self.lesson is not None and (self.teacher or self.export is not None):
            raise RequestError(f"LESSON is {self.lesson}, but --export and --teacher are for all lessons")
        return self.teacher or self.export is not None

    def write(self) -> list[str]:
        """Write them and return sentences about it."""
        if self.export is not None:
            notice = Export(self.export, self.runtime).write()
            done = (
                f"{self.export} has the lab for browsers: double-click index.html, or put the folder on any "
                "web server."
            )
            return [done, *([] if notice is None else [notice])]
        teacher, sheet = write_pack(self.out or Path(DEFAULT_FOLDER))
        return [f"{teacher} has aims, times and answers, {sheet} is for pupils: open them and print."]
