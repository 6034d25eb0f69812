"""Shared by the commands at a live board: the options that choose it, its port, questions and the time."""

import contextlib
import sys
from collections.abc import Callable, Iterator
from datetime import UTC, datetime
from pathlib import Path
from typing import cast

from host_sim.cli.saying import say
from host_sim.cli.watch import chosen_port
from host_sim.commissioning.live import KeepingPort, LiveBoard
from host_sim.errors import RequestError
from host_sim.watching.asking import open_chosen, require_link, when_standing


@contextlib.contextmanager
def live_board(
    port: str | None,
    desk: bool,
    bike: str,
    files: Path | None,
    hurry: bool,
    words: tuple[str, ...] = (),
) -> Iterator[LiveBoard]:
    """Yield the board on a port, or a desk board that runs during the block with this bike (or with `files`).

    `words` are options of the desk board.
    """
    require_link()
    at_desk = bike if desk and files is None else None
    with chosen_port(port, desk, at_desk, files, hurry, words) as name:
        _, opened = open_chosen(name)
        with contextlib.closing(opened):
            yield LiveBoard(cast("KeepingPort", opened), lambda asked: when_standing(asked, say))


def asking(board: LiveBoard) -> Callable[[str], str]:
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


def utc_now() -> str:
    """Return the present time, ISO 8601, to the second."""
    return datetime.now(UTC).isoformat(timespec="seconds")
