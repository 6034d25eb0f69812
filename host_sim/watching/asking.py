"""Requests to a standing board: edges, settings, changes, the last 20 s; waits for a standstill if needed."""

import time
from collections.abc import Callable
from importlib.util import find_spec
from pathlib import Path
from typing import TYPE_CHECKING, Any, cast

from host_sim.errors import RequestError
from host_sim.outputs import refuse_missing_folder
from host_sim.textfile import spoken

if TYPE_CHECKING:
    from host_sim.watching.session import ClosablePort

WAIT_S = 120.0  # The longest wait for a standstill; the desk's rider rests twice in 48 s.
ASK_AGAIN_S = 0.5


def require_link() -> None:
    """Raise RequestError if what the link needs is not installed."""
    if find_spec("serial") is None:
        raise RequestError(
            "talking to a board needs pyserial, which is not installed, get it with: "
            "uv run --extra board treadle"
        )


def open_chosen(given: str | None) -> "tuple[str, ClosablePort]":
    """Choose the port again, because a board may return under another name, and open it."""
    from host_sim.boardlink.console_client import open_port
    from host_sim.boardlink.port_choice import choose_port

    name = choose_port(given)
    return name, cast("ClosablePort", open_port(name))  # pyserial's can be closed.


class AskRequest:
    """The requests to a standing board; `ask` has their order."""

    def __init__(
        self,
        port: str | None,
        clear_fault: bool,
        changes: list[str],
        capture: Path | None,
        show_settings: bool,
        force: bool,
        black_box: Path | None,
    ) -> None:
        """Check everything before a port is opened; RequestError says what is wrong."""
        require_link()
        from host_sim.boardlink.port_choice import choose_port
        from host_sim.watching.workshop import check_capture, parse_changes

        self.clear_fault = clear_fault
        self.changes = parse_changes(changes)
        self.capture = capture
        self.show_settings = show_settings
        self.force = force
        if capture is not None:
            check_capture(capture, force)
        self.black_box = black_box
        if black_box is not None:
            check_black_box(black_box, force)
        self.given_port = port
        self.port = choose_port(port)


def check_black_box(path: Path, force: bool) -> None:
    """Raise RequestError if the recorder's steps can't be written to this path."""
    if path.exists() and (not force or not path.is_file()):
        raise RequestError(f"{spoken(path)} exists already, allowed is another --blackbox, or --force")
    refuse_missing_folder(path, "--blackbox")


def when_standing(
    asked: Callable[[], Any],
    notice: Callable[[str], None],
    clock_s: Callable[[], float] = time.monotonic,
    pause: Callable[[float], None] = time.sleep,
) -> Any:
    """Return the result of `asked` once the bicycle stands; InMotion if it still moves after WAIT_S.

    `notice` gets a message if it has to wait.
    """
    from host_sim.watching.workshop import InMotion

    until_s = clock_s() + WAIT_S
    told = False
    while True:
        try:
            return asked()
        except InMotion:
            if clock_s() >= until_s:
                raise
            if not told:
                notice(f"the bicycle moves: waiting until it stands, at most {WAIT_S:.0f} s; Ctrl-C ends it")
            told = True
            pause(ASK_AGAIN_S)


def _fetch_black_box(
    port: "ClosablePort", path: Path, force: bool, say: Callable[[str], None], notice: Callable[[str], None]
) -> dict[str, Any]:
    from host_sim.watching.black_box import BlackBox

    box = BlackBox(port)
    when_standing(box.freeze, notice)
    steps = box.fetch(path, force)
    say(f"{steps} steps are in {spoken(path)}")
    when_standing(box.release, notice)
    return {"blackbox": str(path), "blackbox_steps": steps}


def ask(
    request: AskRequest, say: Callable[[str], None], notice: Callable[[str], None] = lambda line: None
) -> dict[str, Any]:
    """Send the requests, and return what was done; BoardTrouble if the board refuses one.

    The order: clear the fault, edges, the last 20 s, settings, changes. Requests before a refused one remain
    done. Requests that need a standstill wait for it, and `notice` gets a message.
    """
    import contextlib

    from host_sim.watching.workshop import Workshop

    name, port = open_chosen(request.given_port)
    done: dict[str, Any] = {"port": name}
    with contextlib.closing(port):
        board = Workshop(port)
        done["board"] = board.about()["board"]
        if request.clear_fault:
            when_standing(board.clear_fault, notice)
            done["cleared"] = True
            say("the fault is cleared, unless its cause still exists")
        if request.capture is not None:
            capture = request.capture
            count = when_standing(lambda: board.keep_edges(capture, request.force), notice)
            done |= {"capture": str(request.capture), "edges": count}
            say(f"{count} crank edges are in {spoken(request.capture)}")
        if request.black_box is not None:
            done |= _fetch_black_box(port, request.black_box, request.force, say, notice)
        if request.show_settings:
            done |= {"settings": board.settings(), "in_force": board.about()["settings"]}
            say(f"settings used: {done['in_force']}")
            for setting, value in done["settings"].items():
                say(f"  {setting} = {value}")
        if request.changes:
            when_standing(lambda: board.change(request.changes), notice)
            done["changed"] = request.changes
            changed = ", ".join(f"{setting} = {value}" for setting, value in request.changes.items())
            say(f"stored; the board restarts with: {changed}")
    return done
