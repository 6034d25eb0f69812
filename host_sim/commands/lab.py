"""`treadle lab`: serve the lessons to a browser on this computer."""

import contextlib
import webbrowser

from host_sim.errors import RequestError
from host_sim.lab.catalogue import check_number
from host_sim.lab.server import LabServer

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
