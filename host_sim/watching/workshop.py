"""Requests to a board at rest: settings, changes, clearing a fault, its last edges."""

import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

from firmware.settings import TABLE
from host_sim.boardlink.console_client import BoardRefusal, BoardSilent, ConsoleClient
from host_sim.boardlink.frames import Frame
from host_sim.errors import RequestError
from host_sim.outputs import Delivery, refuse_missing_folder
from host_sim.refusals import closest
from host_sim.textfile import spoken
from host_sim.watching.session import ClosablePort
from host_sim.watching.watched import printable

MUST_STAND = "the bicycle must stand, and nothing may drive"  # The text of firmware/link/console.py.


class BoardTrouble(Exception):
    """The board refused or answered wrongly; the message is one sentence."""


class InMotion(BoardTrouble):
    """The board refused because the bicycle moves or the motor drives; it may accept later."""


def refused(what: str, error: BoardRefusal) -> BoardTrouble:
    """Return the exception for a board that refuses to do something."""
    kind = InMotion if str(error) == MUST_STAND else BoardTrouble
    return kind(f"the board refuses to {what}: {printable(str(error))}")


def parse_changes(words: list[str]) -> dict[str, int]:
    """Parse NAME=VALUE words; RequestError names the setting, the value and what is allowed."""
    changes: dict[str, int] = {}
    known = {row[0]: row for row in TABLE}
    for word in words:
        name, equals, text = word.partition("=")
        if not equals:
            raise RequestError(f'--set is "{word[:60]}", allowed is NAME=VALUE')
        if name not in known:
            raise RequestError(f'--set names "{name[:60]}", {closest(name, list(known))}')
        _, _, lowest, highest, sentence = known[name]
        try:
            value = int(text)
        except ValueError:
            value = lowest - 1
        if not lowest <= value <= highest:
            allowed = f"a whole number, {lowest} to {highest} ({sentence})"
            raise RequestError(f'--set {name} is "{text[:60]}", allowed is {allowed}')
        if name in changes:
            raise RequestError(f"--set names {name} twice, allowed is once")
        changes[name] = value
    return changes


class Workshop:
    """Sends requests to a board; every method raises BoardTrouble if the board refuses."""

    def __init__(self, port: ClosablePort, on_frame: Callable[[Frame], None] = lambda frame: None) -> None:
        """Use an open port; frames that arrive between answers go to `on_frame`."""
        self._client = ConsoleClient(port, on_frame)

    def about(self) -> dict[str, str]:
        """Return `board` and `settings`: its name, and which settings it uses."""
        about = self._ask("tell about itself", self._client.about)
        return {name: printable(str(about.get(name, ""))) for name in ("board", "settings")}

    def settings(self) -> dict[str, int]:
        """Return the present settings, in the order of the table."""
        told = self._ask("tell its settings", self._client.settings)
        return {row[0]: int(told[row[0]]) for row in TABLE if isinstance(told.get(row[0]), int)}

    def change(self, changes: dict[str, int]) -> None:
        """Change settings; the board stores all of them and restarts."""
        self._ask("change its settings", lambda: self._client.change(changes))

    def clear_fault(self) -> None:
        """Clear the fault; it latches again at once if its cause still exists."""
        self._ask("clear the fault", self._client.clear)

    def keep_edges(self, path: Path, force: bool) -> int:
        """Write the board's last crank edges as an edge dump; return how many there are."""
        answers = self._ask("dump its crank edges", self._client.edge_answers)
        count = sum(len(answer["edges"]) for answer in answers if isinstance(answer.get("edges"), list))
        if count == 0:
            raise BoardTrouble("the board has recorded no crank edge since its start, turn the crank first")
        with Delivery(path.parent, (path.name,), force, "--capture") as delivery:
            lines = "".join(json.dumps(answer) + "\n" for answer in answers)
            delivery.place(path.name).write_text(lines, encoding="ascii")
            delivery.deliver()
        return count

    def _ask(self, what: str, asked: Any) -> Any:
        try:
            return asked()
        except BoardRefusal as error:
            raise refused(what, error) from None
        except BoardSilent:
            raise BoardTrouble(
                f"the board did not answer when asked to {what}: is this the port of a board that rides?"
            ) from None
        except OSError as error:
            raise BoardTrouble(f"the port was lost when the board was asked to {what}: {error}") from None
        except (KeyError, TypeError, ValueError, AttributeError):
            raise BoardTrouble(f"the board was asked to {what}, but its answer can't be read") from None


def check_capture(path: Path, force: bool) -> None:
    """Raise RequestError if the edge dump can't be written, before the request."""
    refuse_missing_folder(path, "--capture")
    if path.is_dir():
        raise RequestError(f"{spoken(path)} is a directory, allowed is a file for --capture")
    if path.exists() and not force:
        raise RequestError(f"{spoken(path)} exists already, allowed is another --capture, or --force")
