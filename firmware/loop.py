"""The only endless loop: read, step, write, feed the watchdog, on an absolute schedule.

A board has three methods. `read(inputs) -> now_us` fills the record and returns the time,
`write(outputs)` carries out what it is told, `feed_watchdog()` says that a step was completed.
"""

from firmware.controller import Controller
from firmware.records import Inputs, Outputs
from firmware.ticks import TICKS_MAX_US, ticks_diff_us

CONTROL_PERIOD_US = 5_000
COLLECT_EVERY = 400  # Steps at rest between two garbage collections: 2 s.


class Board:
    """What the loop needs of a board. A real one, or the bench, has these three methods."""

    def read(self, inputs: Inputs) -> int:
        """Fill `inputs` and return the time, 0 to TICKS_MAX_US."""
        raise NotImplementedError

    def write(self, outputs: Outputs) -> None:
        """Carry out `outputs`, and drop to the safe state when they are not renewed in time."""
        raise NotImplementedError

    def feed_watchdog(self) -> None:
        """Tell the watchdog that a whole step was completed."""
        raise NotImplementedError


class Heap:
    """What the loop may ask of the memory. A board overrides `collect`; the bench keeps this one."""

    def collect(self) -> None:
        """Collect garbage, now that nothing moves."""


class LoopCounters:
    """What the loop counts, modulo 65536: `steps`, `overruns` (steps that began a period or more late)."""

    __slots__ = ("overruns", "steps")

    def __init__(self) -> None:
        """Start at zero."""
        self.steps = 0
        self.overruns = 0


def run(board: Board, controller: Controller, inputs: Inputs, counters: LoopCounters, heap: Heap) -> None:
    """Run until the board raises; leave the output in the safe state whatever happens.

    Steps are due at fixed times. One that begins a period or more late is counted, and the schedule
    goes on from there: what was missed is not made up in a burst. `heap` is collected now and then
    while the bicycle stands and nothing drives.
    """
    safe = Outputs()
    board.write(safe)
    resting_steps = 0
    try:
        due_us = board.read(inputs)
        while True:
            now_us = board.read(inputs)
            late_us = ticks_diff_us(now_us, due_us)
            if late_us < 0:
                continue
            board.write(controller.step(inputs, now_us))
            board.feed_watchdog()
            counters.steps = (counters.steps + 1) & 0xFFFF
            if late_us >= CONTROL_PERIOD_US:
                counters.overruns = (counters.overruns + 1) & 0xFFFF
                due_us = now_us
            due_us = (due_us + CONTROL_PERIOD_US) & TICKS_MAX_US
            resting = controller.wheel.speed_mm_per_s == 0 and not controller.engagement.driving()
            resting_steps = resting_steps + 1 if resting else 0
            if resting_steps == COLLECT_EVERY:
                heap.collect()
                resting_steps = 0
    finally:
        board.write(safe)
