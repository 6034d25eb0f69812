"""Replay golden traces with a mark before and after every step and every recorded edge.

Runs only where `host.call` leaves a mark, see wasm.py. First come two marks with nothing between them: what
a mark costs. Then come pairs; what is between a pair is told by the letters printed at the end, one a pair:
`s` a step, `e` an edge. The heap is not locked here, so that nothing but the firmware lies between the marks.
"""

import gc
import io
import sys

from host import call  # type: ignore[import-not-found, unused-ignore]
from replay import Replay  # type: ignore[import-not-found, unused-ignore]

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
        outputs = controller.step(inputs, now_us)
        call("", "")
        self.letters.append(115)
        return outputs

    def record(self, log: EdgeLog, levels: int, time_us: int) -> None:
        """Record an edge between two marks."""
        call("", "")
        log.record(levels, time_us)
        call("", "")
        self.letters.append(101)


def main() -> None:
    """Replay the traces named on the command line."""
    gc.disable()  # This runtime's collector frees what is still in use.
    call("", "")
    call("", "")
    for argument in sys.argv[1:]:
        with open(argument, "rb") as file:
            replay = MarkedReplay(file)
            replay.run()
        sys.stdout.write(replay.letters.decode())


if __name__ == "__main__":
    main()
