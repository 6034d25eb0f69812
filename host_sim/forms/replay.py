"""Replay golden traces against the firmware, on whatever Python runs this file.

    replay.py [--no-collector] TRACE...

Runs on CPython and MicroPython and imports nothing but `firmware`, `io` and `sys`. For each
trace it prints what differed from the recorded outputs, at most a few lines, and then one line of totals:

    NAME steps 48000 edges 5321 differences 0 allocations 0 digest 0x3a5c1

On MicroPython every step and every recorded edge runs with the heap locked: an attempt to allocate is
counted, and the outputs of that step then differ too. `golden.py` writes the traces and documents
their layout.
"""

import io
import sys

from firmware.controller import Controller
from firmware.decide.engagement import ASSISTING, READY, THROTTLING
from firmware.records import EdgeLog, Inputs, Outputs
from firmware.settings import Settings

try:
    from micropython import heap_lock, heap_unlock  # type: ignore[import-not-found, unused-ignore]
except ImportError:

    def heap_lock() -> None:
        """Do nothing: this Python has no heap to lock."""

    def heap_unlock() -> None:
        """Do nothing: this Python has no heap to lock."""


HEAD_BYTES = 32
EDGE_BYTES = 5
STEP = 1
LIFE = 2
END = 3
SHOWN_MAX = 5
FIELDS = ("command_mv", "drive_enabled and indicator", "fault_cause", "state")


class Replay:
    """One trace through the firmware. Read: `steps`, `edges`, `differences`, `allocations`, `digest`.

    `file` is the trace, open for reading bytes. ValueError if it is not a complete trace.
    """

    def __init__(self, file: "io.BufferedReader") -> None:
        """Open the trace; nothing is replayed yet."""
        self._file = file
        self._head = bytearray(HEAD_BYTES)
        self._edge = bytearray(EDGE_BYTES)
        self._inputs = Inputs()
        self._controller = Controller(Settings({}), 0)
        self.steps = 0
        self.edges = 0
        self.differences = 0
        self.allocations = 0
        self.digest = 1

    def run(self) -> None:
        """Replay everything."""
        head = self._head
        while self._file.readinto(head) == HEAD_BYTES:
            if head[0] == STEP:
                self._replay_step()
            elif head[0] == LIFE:
                self._begin_life()
            elif head[0] == END and self._u32(4) == self.steps:
                return
            else:
                break
        raise ValueError("this is not a complete golden trace: stopped after step " + str(self.steps))

    def begin(self, settings: Settings, now_us: int) -> Controller:
        """Return a controller that has just been switched on."""
        return Controller(settings, now_us)

    def step(self, controller: Controller, inputs: Inputs, now_us: int) -> Outputs:
        """Run one step of the firmware, which must not allocate memory."""
        heap_lock()
        try:
            outputs = controller.step(inputs, now_us)
        except MemoryError:
            outputs = controller.outputs
            self.allocations += 1
        heap_unlock()
        return outputs

    def record(self, log: EdgeLog, levels: int, time_us: int) -> None:
        """Record one edge like an interrupt handler, without allocating memory."""
        heap_lock()
        try:
            log.record(levels, time_us)
        except MemoryError:
            self.allocations += 1
        heap_unlock()

    def _begin_life(self) -> None:
        """Start a controller with the settings that follow the head, as after power-up."""
        values = {}
        for pair in self._file.read(self._u16(2)).decode().split():
            name, value = pair.split("=")
            values[name] = int(value)
        self._inputs = Inputs()
        self._controller = self.begin(Settings(values), self._u32(4))

    def _replay_step(self) -> None:
        self._take_inputs()
        self._hold_against(self.step(self._controller, self._inputs, self._u32(4)))

    def _take_inputs(self) -> None:
        """Read what follows the head of a step into the inputs."""
        head = self._head
        inputs = self._inputs
        self._record_edges(inputs.crank, self._u16(2))
        self._record_edges(inputs.wheel, head[1])
        inputs.sampled_us = self._u32(8)
        inputs.throttle_mv = self._u16(12)
        inputs.selector_mv = self._u16(14)
        inputs.battery_mv = self._u32(16)
        inputs.current_ma = self._u32(20)
        motor_decicelsius = self._u16(24)
        inputs.motor_decicelsius = (
            motor_decicelsius - 0x10000 if motor_decicelsius >= 0x8000 else motor_decicelsius
        )
        inputs.brake_pulled = head[26] & 1 == 1
        inputs.clear_requested = head[26] & 2 == 2

    def _hold_against(self, outputs: Outputs) -> None:
        """Compare the step's outputs with the recorded ones."""
        head = self._head
        self.steps += 1
        self._compare(0, outputs.command_mv, self._u16(27))
        self._compare(1, outputs.indicator << 1 | (1 if outputs.drive_enabled else 0), head[29])
        self._compare(2, outputs.fault_cause, head[30])
        self._compare(3, self._controller.engagement.state, head[31])

    def _record_edges(self, log: EdgeLog, edges: int) -> None:
        edge = self._edge
        for _ in range(edges):
            self._file.readinto(edge)
            time_us = edge[1] | edge[2] << 8 | edge[3] << 16 | edge[4] << 24
            self.record(log, edge[0], time_us)
        self.edges += edges

    def _compare(self, field: int, value: int, recorded: int) -> None:
        self.digest = (self.digest * 31 + value) & 0xFFFFF
        if value == recorded:
            return
        self.differences += 1
        if self.differences <= SHOWN_MAX:
            say("step", self.steps, FIELDS[field], "is", value, "and was recorded as", recorded)

    def _u16(self, at: int) -> int:
        return self._head[at] | self._head[at + 1] << 8

    def _u32(self, at: int) -> int:
        """Return a time or a reading; all are below 2**30, so nothing here allocates memory."""
        head = self._head
        return head[at] | head[at + 1] << 8 | head[at + 2] << 16 | head[at + 3] << 24


def kind_of_step(controller: Controller) -> str:
    """Return `d` after a step that drives, `r` after one at rest, and `s` after any other."""
    state = controller.engagement.state
    if state in (ASSISTING, THROTTLING):
        return "d"
    return "r" if state == READY and controller.crank.standing else "s"


def say(*words: object) -> None:
    """Print a line."""
    sys.stdout.write(" ".join([str(word) for word in words]) + "\n")


def main() -> None:
    """Replay the traces named on the command line."""
    for argument in sys.argv[1:]:
        if argument == "--no-collector":
            import gc

            gc.disable()  # One runtime's collector frees memory that is still in use; see README.md.
            continue
        with open(argument, "rb") as file:
            replay = Replay(file)
            replay.run()
        words = [argument.split("/")[-1]]
        for name in ("steps", "edges", "differences", "allocations"):
            words += [name, getattr(replay, name)]
        say(*words, "digest", hex(replay.digest))


if __name__ == "__main__":
    main()
