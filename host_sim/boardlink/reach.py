"""Finds the port of a board, and puts a riding board into maintenance so that files can be copied."""

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
RESTART_S = 10.0  # Time for a USB port to vanish and come back.
HINT_S = 3.0  # Time for a restarted board to report that it is in maintenance.
HINT = "Restart the board to ride."  # The end of the message of boards/starting.py.


def find_port(given: str | None, target: Target) -> str:
    """Return the given port, or the only USB port.

    RequestError if the given one does not exist or there are several; BoardTrouble says what to do when no
    board is found.
    """
    try:
        return choose_port(given)
    except NoBoard:
        raise BoardTrouble(f"no {target.title} was found on any USB port: {target.not_found}") from None


@contextlib.contextmanager
def raw_board(port: str) -> Iterator[RawBoard]:
    """Yield the board at its raw prompt, and stop its ride first; leave the prompt at the end."""
    bring_into_maintenance(port)
    board = RawBoard(port)
    try:
        yield board
    finally:
        board.close()


def bring_into_maintenance(port: str) -> None:
    """Restart a riding board without drive and watchdog; do nothing to any other board.

    BoardTrouble if it refuses, for example because the bicycle moves.
    """
    from host_sim.boardlink.console_client import BoardRefusal, BoardSilent, ConsoleClient

    with contextlib.closing(_opened(port)) as opened:
        client = ConsoleClient(opened)
        try:
            if not _rides(client, opened):
                return
            client.maintenance()
        except BoardRefusal as error:
            raise BoardTrouble(f"the board at {port} is riding and refuses to stop: {error}") from None
        except (BoardSilent, OSError) as error:
            raise BoardTrouble(f"the board at {port} is riding and did not answer: {error}") from None
        if _hears_hint(opened):
            return
    _wait_until_back(port)


def _rides(client: "ConsoleClient", opened: "Serial") -> bool:
    """Listen for telemetry of any kind, so that a board with older firmware can be updated."""
    from host_sim.boardlink.frames import Frame

    for _ in range(LISTENING_READS):
        if any(isinstance(item, Frame) for item in client.wire.feed(opened.read(4_096))):
            return True
        if client.wire.other_kind is not None:
            return True
    return False


def _hears_hint(opened: "Serial") -> bool:
    """Return whether the board reports in time that it is in maintenance; False if its port vanishes."""
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
