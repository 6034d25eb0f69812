"""Records every step of the watched board, in addition to its frames, for a replay.

A recording that begins with the board's start can be replayed exactly. So a board that no longer has its
first steps is restarted, if it stands; if it moves, or has a latched fault, the recording begins where it is.
"""

from pathlib import Path
from typing import Protocol

from host_sim.boardlink.console_client import BoardRefusal, BoardSilent
from host_sim.boardlink.live_steps import Renewal
from host_sim.boardlink.recorded import Block, DamagedBlock, Loss, StepReader
from host_sim.replay.log_file import SUFFIX, LogWriter
from host_sim.watching.watched import Watched


class Streaming(Protocol):
    """The requests of a board's console that are needed here."""

    def stream(self, from_oldest: bool = False) -> None:
        """Ask for the recorder's blocks."""

    def start(self) -> None:
        """Restart the board."""


def steps_path(record: Path) -> Path:
    """Return the path of the steps of a record, in the same folder."""
    return record.with_suffix(SUFFIX)


class StepRecord:
    """Requests the stream and writes it to a log. `steps`: how many; `from_start`: from the board's start on.

    `lost` steps are known to be missing, in `holes` places; `refusal`: why the board sends none, or empty.
    """

    def __init__(self, log: LogWriter) -> None:
        """Use an open log."""
        self.log = log
        self.steps = 0
        self.lost = 0
        self.holes = 0
        self.from_start = True
        self.refusal = ""
        self._start_asked = False
        self.forget()

    def forget(self) -> None:
        """Begin a new section: the board restarted or was disconnected."""
        self._reader = StepReader()
        self._streaming = False
        self._begun = False
        self._waiting: list[Block] = []
        self._renewal = Renewal()

    def attend(self, board: Streaming, watched: Watched, now_s: float) -> None:
        """Send the request that is due: for the stream, for a restart, or to continue the stream."""
        if not watched.settings or watched.frame is None or self.refusal:
            return
        try:
            if not self._streaming:
                self._waiting = []  # From a stream that another program requested.
                board.stream(from_oldest=True)
                self._streaming = True
                self._renewal.requested(now_s)
            elif self._renewal.is_due(now_s):
                self._renewal.requested(now_s)
                board.stream()
        except BoardRefusal as error:
            self.refusal = str(error)
        except BoardSilent:
            return
        if not self._begun and self._waiting:
            self._begin(board, watched)

    def take(self, block: Block) -> None:
        """Store a block."""
        self._renewal.took_block()
        if self._begun:
            self._write(block)
        else:
            self._waiting.append(block)

    def _begin(self, board: Streaming, watched: Watched) -> None:
        first = self._waiting[0]
        from_start = (first.sequence, first.step) == (0, 0)
        if not from_start and not self._start_asked:
            self._start_asked = True
            try:
                board.start()
            except (BoardRefusal, BoardSilent):
                pass
            else:
                self.forget()
                return
        self.from_start = self.from_start and from_start
        assert watched.frame is not None
        self.log.begin(watched.board, watched.frame.form, watched.settings)
        self._begun = True
        waiting, self._waiting = self._waiting, []
        for block in waiting:
            self._write(block)

    def _write(self, block: Block) -> None:
        self.log.write(block)
        try:
            for item in self._reader.feed(block):
                if isinstance(item, Loss):
                    self.lost += item.steps
                    self.holes += 1
                else:
                    self.steps += 1
        except DamagedBlock:
            self.holes += 1
