"""Replay golden traces with a mark before and after every step and every recorded edge.

Runs only where `host.call` leaves a mark, see wasm.py. First come two marks with only the lock between them:
what these cost. Then come pairs; what is between a pair is told by the letters printed at the end, one a
pair: `d` a step that drives, `r` one at rest, `s` any other step, `e` an edge.

The heap is locked between the marks. A frame that would be borrowed from it (see frames.py) is searched for
longer or shorter as the heap lies, and would make the count depend on files that no step runs.
"""

import gc
import io
import sys

from host import call  # type: ignore[import-not-found, unused-ignore]
from micropython import heap_lock, heap_unlock  # type: ignore[import-not-found, unused-ignore]
from replay import Replay, kind_of_step  # type: ignore[import-not-found, unused-ignore]

from firmware.controller import Controller
from firmware.records import EdgeLog, Inputs, Outputs


class MarkedReplay(Replay):  # type: ignore[misc, unused-ignore]
    """A replay that leaves marks. Read: `letters`, a bytearray."""

    def __init__(self, file: "io.BufferedReader") -> None:
        """Take a trace."""
        super().__init__(file)
        self.letters = bytearray()

    def step(self, controller: Controller, inputs: Inputs, now_us: int) -> Outputs:
        """Take a step between two marks."""
        call("", "")
        heap_lock()
        outputs = controller.step(inputs, now_us)
        heap_unlock()
        call("", "")
        self.letters.append(ord(kind_of_step(controller)))
        return outputs

    def record(self, log: EdgeLog, levels: int, time_us: int) -> None:
        """Record an edge between two marks."""
        call("", "")
        heap_lock()
        log.record(levels, time_us)
        heap_unlock()
        call("", "")
        self.letters.append(ord("e"))


def main() -> None:
    """Replay the traces named on the command line."""
    gc.disable()  # This runtime's collector frees what is still in use.
    call("", "")
    heap_lock()
    heap_unlock()
    call("", "")
    for argument in sys.argv[1:]:
        with open(argument, "rb") as file:
            replay = MarkedReplay(file)
            replay.run()
        sys.stdout.write(replay.letters.decode())


if __name__ == "__main__":
    main()
