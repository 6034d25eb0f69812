"""Replay a golden trace through the firmware's own loop, with a mark at the start of every control period.

Runs only where `host.call` leaves a mark, see wasm.py. A period is all that the firmware does from one
reading that is due to the next: the loop, the edges recorded and remembered as on a board, the step, and
the link with its frames, to a port that takes everything at once. The readings in between come every
READING_US. What a board's own drivers take is not in it. At the end comes one letter a mark: `d`, `r` or
`s` is a period whose step was of that kind (see replay.py), `-` is the time between two lives, which is no
period.
"""

import gc
import io
import sys

from host import call  # type: ignore[import-not-found, unused-ignore]
from replay import (  # type: ignore[import-not-found, unused-ignore]
    END,
    HEAD_BYTES,
    LIFE,
    STEP,
    Replay,
    kind_of_step,
)

from firmware.controller import Controller
from firmware.link.block_ring import LEAST_BLOCKS
from firmware.link.history import RememberedEdges
from firmware.link.port import Port
from firmware.link.store import Storage, Store
from firmware.link.talk import Talk
from firmware.link.writing import BLOCK_SIZE
from firmware.loop import Heap, LoopCounters, run
from firmware.records import EdgeLog, Inputs, Outputs
from firmware.settings import Settings
from firmware.ticks import ticks_add_us, ticks_diff_us

READING_US = 1_000


class LifeOver(Exception):
    """The trace has no more steps for this controller."""


class NoFiles(Storage):
    """A flash without a file."""

    def read(self, name: str) -> bytes:
        """Return nothing."""
        return b""


class Listener(Port):
    """A host that takes everything and says nothing."""

    def read(self, into: bytearray, start: int, end: int) -> int:
        """Nothing has come."""
        return 0

    def write(self, unit: bytes | bytearray, start: int, end: int) -> int:
        """Take all of it."""
        return end - start


class Periods(Replay):  # type: ignore[misc, unused-ignore]
    """A board whose inputs come from a trace. Read: `letters`, a bytearray, and all of a Replay."""

    def __init__(self, file: "io.BufferedReader") -> None:
        """Take a trace."""
        super().__init__(file)
        self.letters = bytearray()
        self._begun = False
        self._stepped = False
        self._now_us = 0

    def run(self) -> None:
        """Replay everything, a life at a time."""
        self._next_head()
        while self._head[0] == LIFE:
            self._begin_life()
            self._next_head()
            self._begun = self._stepped = False
            try:
                run(self, self._controller, self._inputs, self._counters, Heap(), self._talk)
            except LifeOver:
                self.letters.append(ord("-"))
                call("", "")
        if self._head[0] != END or self._u32(4) != self.steps:
            raise ValueError("this is not a complete golden trace: stopped after step " + str(self.steps))

    def begin(self, settings: Settings, now_us: int) -> Controller:
        """Return a controller that has just been switched on, with a link as on a board."""
        controller = Controller(settings, now_us)
        self._counters = LoopCounters()
        self._talk = Talk(
            Listener(),
            controller,
            self._inputs,
            RememberedEdges(),
            self._counters,
            Store(NoFiles()),
            "replayed",
            1,
            [bytearray(BLOCK_SIZE) for _ in range(LEAST_BLOCKS)],
            now_us,
        )
        return controller

    def record(self, log: EdgeLog, levels: int, time_us: int) -> None:
        """Record one edge as an interrupt handler does."""
        log.record(levels, time_us)

    def read(self, inputs: Inputs) -> int:
        """Return the time of the next recorded step, with its inputs, or of a reading before it."""
        if not self._begun:
            self._begun = True
            self._now_us = self._u32(4)
            return self._now_us  # The loop asks once before it begins, to know when its first step is due.
        if self._stepped:
            self._hold_against(self._controller.outputs)
            self._stepped = False
            self._next_head()
            if self._head[0] != STEP:
                raise LifeOver()
        if ticks_diff_us(self._u32(4), self._now_us) > READING_US:
            self._now_us = ticks_add_us(self._now_us, READING_US)
            return self._now_us
        self._now_us = self._u32(4)
        self.letters.append(ord("-"))
        call("", "")
        self._take_inputs()
        return self._now_us

    def write(self, outputs: Outputs) -> None:
        """Take the outputs of a step."""
        if self._begun:
            self.letters[-1] = ord(kind_of_step(self._controller))
            self._stepped = True

    def feed_watchdog(self) -> None:
        """There is none."""

    def _next_head(self) -> None:
        if self._file.readinto(self._head) != HEAD_BYTES:
            raise ValueError("the trace ends after step " + str(self.steps))


def main() -> None:
    """Replay the trace named on the command line."""
    gc.disable()  # This runtime's collector frees what is still in use.
    with open(sys.argv[1], "rb") as file:
        periods = Periods(file)
        periods.run()
    sys.stdout.write(str(periods.differences) + " " + periods.letters.decode())


if __name__ == "__main__":
    main()
