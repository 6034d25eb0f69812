"""The turn that the loop gives to its link: a little of telemetry, of the stream, or of the console.

A turn is short. A frame is measured in one, sealed in the next, stuffed and sent in a third; a line of
text is sent a piece at a time. No turn waits for the host. A host that does not read stops frames and
answers, nothing else. Telemetry and console take turns, so neither frames that are always due nor a host
that never stops writing blocks the other: after each turn of a frame the console has the next one.
While a host listens to the stream, every second turn is the stream's.
"""

from firmware.controller import Controller
from firmware.link.console import GO_ON, Console
from firmware.link.history import RememberedEdges, WheelEdges
from firmware.link.port import PIECE_SIZE, Port
from firmware.link.recorder import Recorder
from firmware.link.recording import Recording
from firmware.link.store import Store
from firmware.link.stream import Stream
from firmware.link.telemetry import FRAME_PERIOD_US, Telemetry
from firmware.loop import Link, LoopCounters
from firmware.records import Inputs
from firmware.ticks import ticks_add_us, ticks_diff_us

PIECES_IN_A_TURN = 4  # As many as the buffer of a Pico's USB port holds.

# Progress of the next frame.
_IDLE = 0
_MEASURED = 1
_SEALED = 2


class Talk(Link):
    """Telemetry, recorder, stream, console, and the port. Read: `console`, `recorder`, `telemetry`."""

    __slots__ = (
        "_due_us",
        "_frame_next",
        "_length",
        "_open",
        "_port",
        "_sent",
        "_stage",
        "_stream",
        "_stream_next",
        "_unit",
        "console",
        "recorder",
        "telemetry",
    )

    def __init__(
        self,
        port: Port,
        controller: Controller,
        inputs: Inputs,
        edges: RememberedEdges,
        counters: LoopCounters,
        store: Store,
        board_name: str,
        form: int,
        blocks: list[bytearray],
        now_us: int,
    ) -> None:
        """Start with a line that says which settings are in force; put `edges` into `inputs.crank`.

        `form` is the form of the firmware that the board runs, as in telemetry; `blocks` are the recorder's,
        `now_us` is the time that the controller was built with.
        """
        self.recorder = Recorder(controller, inputs, blocks, now_us)
        self._stream = Stream(self.recorder.ring)
        edges.recorder = self.recorder
        inputs.crank = edges
        inputs.wheel = WheelEdges(self.recorder)
        self.telemetry = Telemetry(controller, inputs, edges, counters, store.drives(), form)
        self.console = Console(
            controller, inputs, edges, store, board_name, Recording(self.recorder, self._stream)
        )
        self._port = port
        self._due_us = now_us
        self._stage = _IDLE
        self._frame_next = True
        self._stream_next = True
        self._open = True
        self._unit: bytes | bytearray = self.console.greeting()
        self._length = len(self._unit)
        self._sent = 0

    def note_step(self, now_us: int) -> None:
        """Record the step."""
        self.recorder.note_step(now_us)

    def pump(self, resting: bool, now_us: int) -> bool:
        """Take one short turn; True if the console answered at rest, which may allocate and take time."""
        self.telemetry.sample()
        if self._sent < self._length:
            self._send_some()
            return False
        if self._stream_next and self._stream.make():
            self._stream_next = False
            if self._stream.made():
                self._send(self._stream.frame)
            return False
        self._stream_next = True
        frame_is_due = self._frame_due(now_us)
        if self._frame_next and frame_is_due:
            self._frame_next = False
            self._make_frame(resting, now_us)
            return False
        self._frame_next = True
        if self.console.replying or self.console.waiting:
            self._send(self.console.next_line(resting))
            return resting
        if not self._listen() and frame_is_due:
            self._make_frame(resting, now_us)
        return False

    def must_end(self) -> bool:
        """Return whether the console wants a restart and its answer has been sent."""
        return self.console.ending != GO_ON and self._sent == self._length

    def _frame_due(self, now_us: int) -> bool:
        ahead_us = ticks_diff_us(self._due_us, now_us)
        # Only a clock that went back leaves a time further ahead than a period.
        return self._stage != _IDLE or ahead_us <= 0 or ahead_us > FRAME_PERIOD_US

    def _make_frame(self, resting: bool, now_us: int) -> None:
        if self._stage == _IDLE:
            self._due_us = ticks_add_us(self._due_us, FRAME_PERIOD_US)
            ahead_us = ticks_diff_us(self._due_us, now_us)
            if ahead_us <= 0 or ahead_us > FRAME_PERIOD_US:
                self._due_us = ticks_add_us(now_us, FRAME_PERIOD_US)  # Missed frames are not made up.
            self.telemetry.measure(resting, now_us)
            self._stage = _MEASURED
        elif self._stage == _MEASURED:
            self.telemetry.seal()
            self._stage = _SEALED
        else:
            self.telemetry.stuff()
            self._stage = _IDLE
            self._send(self.telemetry.frame)

    def _listen(self) -> bool:
        """Let the console read; return whether anything had arrived."""
        if not self._open or self.console.ending != GO_ON:
            return False
        came = self.console.read(self._port)
        self._open = came >= 0  # Closed: nothing more will come.
        return came > 0

    def _send(self, unit: bytes | bytearray) -> None:
        self._unit = unit
        self._length = len(unit)
        self._sent = 0
        self._send_some()

    def _send_some(self) -> None:
        for _ in range(PIECES_IN_A_TURN):
            # A port that took less than a piece gets the rest of it, then whole pieces again.
            end = min((self._sent // PIECE_SIZE + 1) * PIECE_SIZE, self._length)
            taken = self._port.write(self._unit, self._sent, end)
            self._sent += taken
            if taken == 0 or self._sent == self._length:
                return
