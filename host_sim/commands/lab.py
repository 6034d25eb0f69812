"""`treadle lab`: open the lessons in a browser on this computer."""

import contextlib
import os
import sys
import webbrowser
from importlib.util import find_spec
from typing import NoReturn

from host_sim.errors import RequestError
from host_sim.lab.catalogue import check_number
from host_sim.lab.server import HOST, bound_socket, serve

PORT = 8250
PORT_MAX = 65_535


class LabRequest:
    """Which lesson, on which port, with or without opening a browser."""

    def __init__(self, lesson: int | None, port: int, open_browser: bool) -> None:
        """Check everything and take the port; RequestError says what is wrong."""
        if find_spec("marimo") is None:
            raise RequestError(
                "treadle lab needs marimo, which is not installed: `pip install treadle[lab]`, or in a clone "
                "`uv run --extra lab treadle lab`"
            )
        path = "" if lesson is None else f"{check_number(lesson)}/"
        if port != 0 and not 1024 <= port <= PORT_MAX:
            raise RequestError(f"--port is {port}, allowed is 1024 to {PORT_MAX}, or 0 for any free one")
        self.socket = bound_socket(port)
        self.open_browser = open_browser
        self.url = f"http://{HOST}:{self.socket.getsockname()[1]}/{path}"


def lab(request: LabRequest) -> NoReturn:
    """Serve until interrupted, which is the way to end it; then leave the program with exit code 0."""
    if request.open_browser:
        webbrowser.open(request.url)
    with contextlib.suppress(KeyboardInterrupt):
        serve(request.socket)
    # The notebooks' threads wait for work for ever, and Python would wait for them. Nothing is left to write.
    sys.stdout.flush()
    os._exit(0)
