"""Fetches the board's recording: the 20 s before a fault, or the last 20 s."""

from collections.abc import Callable
from pathlib import Path
from time import monotonic
from typing import TypeVar

from host_sim.boardlink.console_client import BoardRefusal, BoardSilent, ConsoleClient
from host_sim.boardlink.frames import Frame
from host_sim.boardlink.live_steps import READ_SIZE
from host_sim.boardlink.recorded import SEQUENCES, Block
from host_sim.replay.log_file import LogFailed, LogWriter
from host_sim.watching.session import ClosablePort
from host_sim.watching.watched import printable
from host_sim.watching.workshop import BoardTrouble, refused

TRIES = 3
PATIENCE_S = 20.0  # A ring of 50 kB takes 5 s over a serial adapter.

Answer = TypeVar("Answer")


class BlackBox:
    """The recorder of a standing board. Every method raises BoardTrouble if the board refuses."""

    def __init__(self, port: ClosablePort) -> None:
        """Use an open port."""
        self._port = port
        self._found: dict[int, Block] = {}
        self._wanted: list[int] = []
        self._board = ""
        self._form = ""
        self._settings: dict[str, int] = {}
        self._client = ConsoleClient(port, self._frame, lambda line: None, self._take)

    def freeze(self) -> None:
        """Freeze the board's recording; the bicycle must stand."""
        self._asked(self._freeze)

    def fetch(self, path: Path, force: bool) -> int:
        """Write the frozen recording to a log, and return its number of steps. The bicycle may move."""
        blocks = self._asked(self._collect)
        try:
            with LogWriter(path, force, "--blackbox") as log:
                log.begin(self._board, self._form, self._settings, frozen=True)
                for block in blocks:
                    log.write(block)
        except LogFailed as error:
            raise BoardTrouble(f"{error}; the recording stays on the board") from None
        return sum(block.steps for block in blocks)

    def release(self) -> None:
        """Let the board record again, over the frozen recording; the bicycle must stand."""
        self._asked(self._client.release)

    def _asked(self, ask: Callable[[], Answer]) -> Answer:
        try:
            return ask()
        except BoardRefusal as error:
            raise refused("send its recording", error) from None
        except BoardSilent as error:
            raise BoardTrouble(str(error)) from None

    def _freeze(self) -> None:
        count, first = self._client.freeze()
        self._wanted = [(first + number) % SEQUENCES for number in range(count)]
        self._board = printable(str(self._client.about()["board"]))
        self._settings = self._client.settings()

    def _collect(self) -> list[Block]:
        wanted = self._wanted
        for _ in range(TRIES):
            self._client.stream(from_oldest=True)
            until_s = monotonic() + PATIENCE_S
            while (missing := set(wanted) - set(self._found)) and monotonic() < until_s:
                if wanted[-1] in self._found:
                    break  # A block before it was damaged on the link.
                self._client.wire.feed(self._port.read(READ_SIZE))
            if not missing:
                return [self._found[number] for number in wanted]
        raise BoardTrouble(
            f"{len(missing)} of {len(wanted)} blocks of the recording did not arrive complete in {TRIES} "
            "tries; they stay on the board"
        )

    def _frame(self, frame: Frame) -> None:
        self._form = frame.form

    def _take(self, block: Block) -> None:
        self._found[block.sequence] = block
