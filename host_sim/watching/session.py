"""One watch from start to end: opens the port, reads it, and after a disconnection waits for it."""

import contextlib
from collections.abc import Callable
from typing import Protocol

from host_sim.boardlink.console_client import BoardRefusal, BoardSilent, BytePort, ConsoleClient
from host_sim.boardlink.frames import Frame, Wire
from host_sim.boardlink.port_choice import NoBoard
from host_sim.boardlink.recorded import Block
from host_sim.errors import RequestError
from host_sim.watching.record_file import RecordFile
from host_sim.watching.step_record import StepRecord
from host_sim.watching.watched import Watched

RETRY_S = 0.25  # Between two attempts to find a disconnected port.
ASK_AGAIN_S = 5.0  # After a missing answer or a refusal.


class Ended(Exception):
    """The watch has ended: its time is over, or the user ended it."""


class PortGone(Exception):
    """The port was disconnected during use."""


class ClosablePort(BytePort, Protocol):
    """A port that can be closed."""

    def close(self) -> None:
        """Close the port."""


class View(Protocol):
    """The display of a watch."""

    def look(self, watched: Watched, now_s: float) -> None:
        """Show what is new; Ended if the user wants to stop. Called about 20 times a second."""


class Session:
    """Watches until `view` or the time ends it.

    `connect` opens the port and returns its name and the port, or raises RequestError or NoBoard. `now_s` is
    a clock that never goes back; `pause` waits for a number of seconds.
    """

    def __init__(
        self,
        connect: Callable[[], tuple[str, ClosablePort]],
        view: View,
        record: RecordFile | None,
        seconds: float | None,
        now_s: Callable[[], float],
        pause: Callable[[float], None],
        steps: StepRecord | None = None,
    ) -> None:
        """Start at zero, without a port. `steps` records the steps in addition to the frames."""
        self._steps = steps
        self.watched = Watched()
        self._connect = connect
        self._view = view
        self._record = record
        self._seconds = seconds
        self._clock_s = now_s
        self._pause = pause
        self._started_s = now_s()
        self._ask_after_s = 0.0
        self._wire = Wire()
        self._damaged_before = 0

    @property
    def now_s(self) -> float:
        """Seconds since the start."""
        return self._clock_s() - self._started_s

    def run(self) -> None:
        """Watch to the end.

        RequestError or NoBoard if the port can't be opened the first time, RecordingFailed if the record can
        no longer be written.
        """
        port = self._connected()
        try:
            while True:
                try:
                    self._listen(port)
                except PortGone:
                    self.watched.gone(self.now_s)
                finally:
                    _close(port)
                port = self._wait_for_port()
        except Ended:
            if not self.watched.connected:
                self.watched.away_s += self.now_s - self.watched.since_s

    def tick(self) -> None:
        """Update the view; raise Ended when the time is over."""
        if self._seconds is not None and self.now_s >= self._seconds:
            raise Ended
        self._view.look(self.watched, self.now_s)

    def _connected(self) -> ClosablePort:
        name, port = self._connect()
        self.watched.opened(name, self.now_s)
        self._ask_after_s = 0.0
        return port

    def _wait_for_port(self) -> ClosablePort:
        while True:
            self.tick()
            try:
                return self._connected()
            except (RequestError, NoBoard):
                self._pause(RETRY_S)

    def _listen(self, port: ClosablePort) -> None:
        guarded = _GuardedPort(port, self.tick)
        if self._steps is not None:
            self._steps.forget()
        client = ConsoleClient(guarded, self._take, self._hear, self._take_block)
        self._wire = client.wire
        self._damaged_before = self.watched.damaged
        while True:
            for item in client.wire.feed(guarded.read(4_096)):
                if isinstance(item, Frame):
                    self._take(item)
                else:
                    self._hear(item)
            self._count_damaged()
            self.watched.take_other_kind(client.wire.other_kind, self.now_s)
            self._ask(client)
            if self._steps is not None:
                self._steps.attend(client, self.watched, self.now_s)

    def _take_block(self, block: Block) -> None:
        if self._steps is not None:
            self._steps.take(block)

    def _count_damaged(self) -> None:
        self.watched.damaged = self._damaged_before + self._wire.damaged

    def _take(self, frame: Frame) -> None:
        self._count_damaged()
        reception = self.watched.take(frame, self.now_s)
        if self._record is not None:
            self._record.write(frame, reception)

    def _hear(self, line: str) -> None:
        self.watched.text(line, self.now_s)
        if self._steps is not None and not self.watched.settings:
            self._steps.forget()  # The board has restarted.

    def _ask(self, client: ConsoleClient) -> None:
        """Request the settings once after each start of the board; it also answers while it rides."""
        if self.watched.settings or self.watched.frame is None or self.now_s < self._ask_after_s:
            return
        # A frame from before the port was opened is outdated.
        if self.watched.frame_s < self.watched.since_s:
            return
        self._ask_after_s = self.now_s + ASK_AGAIN_S
        try:
            self.watched.learnt(client.about(), client.settings())
        except (BoardRefusal, BoardSilent):
            return  # It is busy: try again later.
        except (KeyError, TypeError, ValueError, AttributeError):
            self.watched.happened("the board's answer about its settings can't be read", self.now_s)


class _GuardedPort:
    """A port that raises PortGone on failure, and keeps the watch running while it waits for an answer."""

    def __init__(self, port: BytePort, tick: Callable[[], None]) -> None:
        self._port = port
        self._tick = tick

    def read(self, size: int = 1, /) -> bytes:
        """Call tick first, so that data already read is not lost if the watch ends."""
        self._tick()
        try:
            return self._port.read(size)
        except (OSError, TypeError) as error:  # TypeError: pyserial's, when the port is closed under it.
            raise PortGone from error

    def write(self, data: bytes, /) -> int | None:
        """Write all of `data`."""
        try:
            return self._port.write(data)
        except (OSError, TypeError) as error:
            raise PortGone from error


def _close(port: ClosablePort) -> None:
    with contextlib.suppress(OSError):  # It may be disconnected already.
        port.close()
