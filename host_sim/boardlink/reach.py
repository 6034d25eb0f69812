"""Finds the port of a board, and brings a board that rides into maintenance so that files can be copied."""

import contextlib
from collections.abc import Iterator
from time import monotonic, sleep
from typing import TYPE_CHECKING, cast

from host_sim.boardlink.port_choice import NoBoard, choose_port
from host_sim.boardlink.raw_board import BoardTrouble, RawBoard
from host_sim.boardlink.targets import Target
from host_sim.errors import RequestError

if TYPE_CHECKING:
    from serial import Serial

    from host_sim.boardlink.console_client import ConsoleClient

LISTENING_READS = 10  # Of 50 ms. A board that rides sends 20 frames a second.
RESTART_S = 10.0  # In which a USB port may vanish and come back.
HINT_S = 3.0  # In which a board that restarts says that it is in maintenance, if anybody can hear it.
HINT = "Restart the board to ride."  # The end of what boards/starting.py says.


def find_port(given: str | None, target: Target) -> str:
    """Return the port that was given, or the one USB port there is.

    RequestError if the port given is not there or several could be meant; BoardTrouble says what to do when
    no board is found.
    """
    try:
        return choose_port(given)
    except NoBoard:
        raise BoardTrouble(f"no {target.title} is found on any USB port: {target.not_found}") from None


@contextlib.contextmanager
def raw_board(port: str) -> Iterator[RawBoard]:
    """Give the board at its raw prompt, out of its ride if it was riding; the prompt is left at the end."""
    bring_into_maintenance(port)
    board = RawBoard(port)
    try:
        yield board
    finally:
        board.close()


def bring_into_maintenance(port: str) -> None:
    """Ask a board that rides to restart without drive and watchdog; nothing happens to any other board.

    BoardTrouble if it refuses, as it does while the bicycle moves.
    """
    from host_sim.boardlink.console_client import BoardRefusal, BoardSilent, ConsoleClient

    with contextlib.closing(_opened(port)) as opened:
        client = ConsoleClient(opened)
        try:
            if not _rides(client, opened):
                return
            client.maintenance()
        except BoardRefusal as error:
            raise BoardTrouble(f"the board at {port} rides and refuses to stop: {error}") from None
        except (BoardSilent, OSError) as error:
            raise BoardTrouble(f"the board at {port} rides and did not answer: {error}") from None
        if _hears_hint(opened):
            return
    _wait_until_back(port)


def _rides(client: "ConsoleClient", opened: "Serial") -> bool:
    """Listen for telemetry, of any kind: a board with an older firmware is brought to a new one this way."""
    from host_sim.boardlink.frames import Frame

    for _ in range(LISTENING_READS):
        if any(isinstance(item, Frame) for item in client.wire.feed(opened.read(4_096))):
            return True
        if client.wire.other_kind is not None:
            return True
    return False


def _hears_hint(opened: "Serial") -> bool:
    """Tell whether the board says in time that it is in maintenance; not if its port vanishes meanwhile."""
    end_s = monotonic() + HINT_S
    heard = b""
    with contextlib.suppress(OSError):
        while monotonic() < end_s:
            heard = (heard + opened.read(4_096))[-1_000:]
            if HINT.encode() in heard:
                return True
    return False


def _wait_until_back(port: str) -> None:
    """Wait for a USB port that vanished with the restart."""
    end_s = monotonic() + RESTART_S
    while True:
        try:
            with contextlib.closing(_opened(port)) as opened:
                _hears_hint(opened)
            return
        except BoardTrouble:
            if monotonic() > end_s:
                raise
            sleep(0.2)


def _opened(port: str) -> "Serial":
    from host_sim.boardlink.console_client import open_port

    try:
        return cast("Serial", open_port(port))
    except RequestError as error:
        raise BoardTrouble(str(error)) from None
