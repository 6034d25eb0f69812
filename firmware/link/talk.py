"""The turn that the loop gives to its link: a little of telemetry, or a little of the console.

A turn is short. A frame is measured in one, sealed and stuffed in the next two, and then sent a few
bytes at a time, so that no turn waits for the host or makes a step late. A host that does not read makes
frames stop, nothing else. A board that has no time left between steps sends nothing.
"""

from firmware.controller import Controller
from firmware.link.console import GO_ON, Console
from firmware.link.history import RememberedEdges
from firmware.link.port import Port
from firmware.link.store import NO_SLOT, Store
from firmware.link.telemetry import FRAME_PERIOD_US, Telemetry
from firmware.loop import Link, LoopCounters
from firmware.records import Inputs
from firmware.ticks import ticks_add_us, ticks_diff_us

BYTES_IN_A_TURN = 8

# How far the next frame is.
_IDLE = 0
_MEASURED = 1
_SEALED = 2


class Talk(Link):
    """A telemetry, a console and the port they share. Read: `console`, `telemetry`."""

    __slots__ = (
        "_due_us",
        "_length",
        "_listening",
        "_port",
        "_sent",
        "_stage",
        "_unit",
        "console",
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
        now_us: int,
    ) -> None:
        """Start with a line that says which settings are in force; put `edges` into `inputs.crank`."""
        inputs.crank = edges
        self.telemetry = Telemetry(controller, inputs, edges, counters, store.slot != NO_SLOT)
        self.console = Console(controller, inputs, edges, store, board_name)
        self._port = port
        self._due_us = now_us
        self._stage = _IDLE
        self._listening = True
        self._unit: bytes | bytearray = self.console.greeting()
        self._length = len(self._unit)
        self._sent = 0

    def pump(self, resting: bool, now_us: int) -> bool:
        """Take one short turn; True if the console answered, which takes memory and may take long."""
        self.telemetry.sample()
        if self._sent < self._length:
            self._send_some()
        elif self._stage != _IDLE or ticks_diff_us(now_us, self._due_us) >= 0:
            self._make_frame(resting, now_us)
        elif self.console.replying or self.console.waiting:
            return self._answer(resting)
        elif self._listening and self.console.ending == GO_ON:
            self._listen()
        return False

    def over(self) -> bool:
        """Tell whether the console wants a new start and its answer is on its way."""
        return self.console.ending != GO_ON and self._sent == self._length

    def _make_frame(self, resting: bool, now_us: int) -> None:
        if self._stage == _IDLE:
            self._due_us = ticks_add_us(self._due_us, FRAME_PERIOD_US)
            if ticks_diff_us(now_us, self._due_us) >= 0:
                self._due_us = ticks_add_us(now_us, FRAME_PERIOD_US)  # Too late to catch up.
            self.telemetry.measure(resting, now_us)
            self._stage = _MEASURED
        elif self._stage == _MEASURED:
            self.telemetry.seal()
            self._stage = _SEALED
        else:
            self.telemetry.stuff()
            self._stage = _IDLE
            self._send(self.telemetry.frame)

    def _answer(self, resting: bool) -> bool:
        console = self.console
        if not resting:
            self._send(console.refuse())
            return False
        self._send(console.go_on() if console.replying else console.answer())
        return True

    def _listen(self) -> None:
        for _ in range(BYTES_IN_A_TURN):
            if self.console.waiting or not self._port.readable():
                return
            value = self._port.read_byte()
            if value < 0:
                self._listening = False  # Closed: nothing will come any more.
                return
            self.console.take(value)

    def _send(self, unit: bytes | bytearray) -> None:
        self._unit = unit
        self._length = len(unit)
        self._sent = 0

    def _send_some(self) -> None:
        for _ in range(BYTES_IN_A_TURN):
            if self._sent == self._length or not self._port.writable():
                return
            self._port.write_byte(self._unit[self._sent])
            self._sent += 1
