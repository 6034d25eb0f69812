"""Shared by the commands at a live board: options, the port, errors of the board, questions and the time."""

import sys
from collections.abc import Callable, Iterator
from contextlib import closing, contextmanager
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, cast

import typer

from host_sim.cli.options import DEFAULT_BIKE
from host_sim.cli.saying import complain, say
from host_sim.errors import RequestError
from host_sim.watching.asking import open_chosen, require_link, when_standing

if TYPE_CHECKING:
    from host_sim.commissioning.live import KeepingPort, LiveBoard
    from host_sim.watching.session import ClosablePort

DeskOption = Annotated[bool, typer.Option("--desk", help="Start the desk board, which has no hardware.")]
FilesOption = Annotated[
    Path | None, typer.Option(help="With --desk: run the bundle in this folder, which keeps its settings.")
]
HurryOption = Annotated[bool, typer.Option("--hurry", help="With --desk: ride as fast as the computer can.")]
PortOption = Annotated[str | None, typer.Option(help="Serial port of the board. Default: the only USB port.")]


@contextmanager
def _ending_on_trouble() -> Iterator[None]:
    """End the program with a sentence and exit code 1 if there is no board, or if it refuses or is silent."""
    from host_sim.boardlink.port_choice import NoBoard
    from host_sim.watching.workshop import BoardTrouble

    try:
        yield
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
    """Yield the given port, or that of a desk board that runs during the block with options `words`.

    The desk board has the settings of `bike`, or of the bundle in the folder `files`. RequestError if the
    options contradict each other. If in the block there is no board, or the board refuses or is silent, the
    program ends with a sentence and exit code 1.
    """
    from host_sim.boardlink.desk import desk_port

    if not desk:
        if bike is not None or files is not None or hurry:
            raise RequestError("--bike, --files and --hurry are allowed only with --desk")
        with _ending_on_trouble():
            yield port
        return
    if port is not None:
        raise RequestError("--port and --desk are both given, only one of them is allowed")
    if bike is not None and files is not None:
        raise RequestError("--bike and --files are both given, only one of them is allowed")
    with _ending_on_trouble(), desk_port(bike or DEFAULT_BIKE, files, hurry, words) as name:
        yield name


@contextmanager
def opened_port(
    port: str | None, desk: bool, bike: str, files: Path | None, hurry: bool, words: tuple[str, ...] = ()
) -> Iterator["ClosablePort"]:
    """Yield the port of a board, or of a desk board with this bike (or with `files`), open during the block.

    `words` are options of the desk board.
    """
    require_link()
    at_desk = bike if desk and files is None else None
    with chosen_port(port, desk, at_desk, files, hurry, words) as name:
        _, opened = open_chosen(name)
        with closing(opened):
            yield opened


@contextmanager
def live_board(
    port: str | None, desk: bool, bike: str, files: Path | None, hurry: bool, words: tuple[str, ...] = ()
) -> Iterator["LiveBoard"]:
    """Yield the board at `opened_port`."""
    from host_sim.commissioning.live import LiveBoard

    with opened_port(port, desk, bike, files, hurry, words) as opened:
        yield LiveBoard(cast("KeepingPort", opened), lambda asked: when_standing(asked, say))


def asking(board: "LiveBoard") -> Callable[[str], str]:
    """Return a function that asks the user; it discards what the board sends meanwhile."""

    def asked(question: str) -> str:
        answer = ask(question)
        board.forget()
        return answer

    return asked


def ask(question: str) -> str:
    """Return the user's answer without surrounding blanks; RequestError if nobody answers."""
    print(question, end="", file=sys.stderr, flush=True)
    line = sys.stdin.readline()
    if not line:
        raise RequestError("a question was not answered, allowed is a terminal or answers on standard input")
    return line.strip()


def person(by: str, does: str) -> str:
    """Return the name given with --by; RequestError if it is empty. `does`: what this person does."""
    if not by.strip():
        raise RequestError(f"--by is empty, allowed is the name of the person who {does}")
    return by.strip()


def utc_now() -> str:
    """Return the present time, ISO 8601, to the second."""
    return datetime.now(UTC).isoformat(timespec="seconds")
