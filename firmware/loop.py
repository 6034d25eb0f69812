"""The only endless loop: read, step, write, feed the watchdog, on an absolute schedule.

A board has three methods. `read(inputs) -> now_us` fills the record and returns the time,
`write(outputs)` applies the outputs, `feed_watchdog()` signals that a step was completed.
"""

from firmware.controller import Controller
from firmware.records import Inputs, Outputs
from firmware.ticks import CONTROL_PERIOD_US, ticks_add_us, ticks_diff_us

SPARE_US = 1_000  # If less than this is left before the next step, the link gets no turn.
LINK_WAITS_MAX = 2  # Steps: then the link gets a turn, so that a board without spare time answers too.
COLLECT_EVERY = 400  # Steps at rest between two garbage collections: 2 s.


class Board:
    """What the loop needs of a board. A real one, or the bench, has these three methods."""

    def read(self, inputs: Inputs) -> int:
        """Fill `inputs` and return the time, 0 to TICKS_MAX_US."""
        raise NotImplementedError

    def write(self, outputs: Outputs) -> None:
        """Apply `outputs`, and go to the safe state if they are not renewed in time."""
        raise NotImplementedError

    def feed_watchdog(self) -> None:
        """Tell the watchdog that a whole step was completed."""
        raise NotImplementedError


class Heap:
    """Garbage collection for the loop. A board overrides `collect`; the bench keeps this one."""

    def collect(self) -> None:
        """Collect garbage, now that nothing moves."""


class Link:
    """What talks to a host in the time between steps. The bench keeps this one, which says nothing."""

    def note_step(self, now_us: int) -> None:
        """Take note of the step that was just taken at `now_us`; its inputs are as the step had them."""

    def pump(self, resting: bool, now_us: int) -> bool:
        """Do a little of the pending work; return True if it took time that only a rest allows."""
        return False

    def must_end(self) -> bool:
        """Return whether the loop must end because a host's request needs a restart."""
        return False


class LoopCounters:
    """What the loop counts, modulo 65536: `steps`, `overruns` (steps that began a period or more late).

    `worst_us` is the longest time from a step's reading of its inputs to the next reading since it was last
    set to 0, including the link's turn if that came right after the step; 65535 means that or more.
    Deliberate delays, as in `run`, are not counted.
    """

    __slots__ = ("_began_us", "_measuring", "overruns", "steps", "worst_us")

    def __init__(self) -> None:
        """Start at zero."""
        self._began_us = 0
        self._measuring = False
        self.steps = 0
        self.overruns = 0
        self.worst_us = 0

    def read(self, now_us: int) -> None:
        """Note the time of every reading: the first one after a step shows how long it took."""
        if self._measuring:
            self._measuring = False
            self.worst_us = max(self.worst_us, min(ticks_diff_us(now_us, self._began_us), 0xFFFF))

    def count_step(self, now_us: int) -> None:
        """Count the step that began at `now_us`."""
        self.steps = (self.steps + 1) & 0xFFFF
        self._began_us = now_us
        self._measuring = True


NO_LINK = Link()


def run(
    board: Board,
    controller: Controller,
    inputs: Inputs,
    counters: LoopCounters,
    heap: Heap,
    link: Link = NO_LINK,
) -> None:
    """Run until the board raises or the link is over; leave the output in the safe state whatever happens.

    Steps are due at fixed times. One that begins a period or more late is counted, and the schedule
    continues from there: missed steps are not made up in a burst. Deliberate lateness is not
    counted: the start, and what is done at rest. A clock that jumps back by more than a period gives a step
    at once, so that the controller notices it. `heap` is collected now and then while the bicycle
    stands and nothing drives; `link` gets a turn when a step is not due soon, and after LINK_WAITS_MAX
    steps without one in any case. A wish to clear a fault lasts for one step.
    """
    safe = Outputs()
    board.write(safe)
    resting = False
    resting_steps = 0
    steps_without_link = 0
    excused = True
    try:
        due_us = board.read(inputs)
        while True:
            now_us = board.read(inputs)
            if not excused:
                counters.read(now_us)
            late_us = ticks_diff_us(now_us, due_us)
            if late_us < -CONTROL_PERIOD_US:
                due_us = now_us  # The clock went back: the controller must be told now, not when it is due.
                late_us = 0
            if late_us >= 0:
                board.write(controller.step(inputs, now_us))
                board.feed_watchdog()
                counters.count_step(now_us)
                link.note_step(now_us)
                inputs.clear_requested = False
                if late_us >= CONTROL_PERIOD_US:
                    if not excused:
                        counters.overruns = (counters.overruns + 1) & 0xFFFF
                    due_us = now_us
                due_us = ticks_add_us(due_us, CONTROL_PERIOD_US)
                resting = controller.wheel.speed_mm_per_s == 0 and not controller.engagement.driving()
                resting_steps = resting_steps + 1 if resting else 0
                excused = resting_steps == COLLECT_EVERY
                if excused:
                    heap.collect()
                    resting_steps = 0
                steps_without_link += 1
            if late_us < -SPARE_US or steps_without_link == LINK_WAITS_MAX:
                steps_without_link = 0
                excused = link.pump(resting, now_us) or excused
                if link.must_end():
                    return
    finally:
        board.write(safe)
