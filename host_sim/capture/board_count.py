"""What the board would count: its own decoder processes the capture in steps of its control period.

The edges pass through the firmware's EdgeLog to the firmware's Crank, in whole microseconds that wrap as on
the board. A second count applies the published transition table to the cleaned levels, independently of
the firmware; the inspection reports a difference.
"""

from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from firmware.records import EdgeLog
from firmware.sense.crank import Crank
from firmware.settings import Settings
from firmware.ticks import CONTROL_PERIOD_US, TICKS_MAX_US
from host_sim.capture.cleaning import CleanChannel
from host_sim.capture.edges import EdgeChunk, Times

LASTING_EDGES = 2  # A direction counts after two consecutive edges: a single edge to and fro is rocking.
# Index 4 * before + now, state 2 * A + B; 2 marks a double change. The published table of quadrature decoding
# (rydub/gametech_console, quadencoder.cpp); others have the opposite sign, so direction is a convention.
DOUBLE = 2
TRANSITIONS = np.array([0, -1, 1, 2, 1, 0, 2, -1, -1, 2, 0, 1, 2, 1, -1, 0], np.int8)


@dataclass(frozen=True, slots=True)
class Count:
    """Numbers of edges forward and backward, of lasting changes of direction, and of refused edges."""

    forward: int
    backward: int
    reversals: int
    rejected: int

    @property
    def net(self) -> int:
        """Forward minus backward edges."""
        return self.forward - self.backward


class _Direction:
    """Counts changes of direction that last for LASTING_EDGES."""

    __slots__ = ("_now", "_run", "_run_direction", "reversals")

    def __init__(self) -> None:
        self._now = 0
        self._run_direction = 0
        self._run = 0
        self.reversals = 0

    def moved(self, direction: int, edges: int) -> None:
        """Count edges in one direction, 1 or -1."""
        self._run = edges + (self._run if direction == self._run_direction else 0)
        self._run_direction = direction
        if self._run >= LASTING_EDGES and direction != self._now:
            self.reversals += self._now != 0
            self._now = direction


class _CountingCrank(Crank):
    """The firmware's crank with counters of forward, backward and rejected edges."""

    __slots__ = ("backward_edges", "direction", "forward_edges", "rejections")

    def __init__(self, settings: Settings, now_us: int) -> None:
        super().__init__(settings, now_us)
        self.forward_edges = 0
        self.backward_edges = 0
        self.rejections = 0
        self.direction = _Direction()

    def _gain_ground(self, edges: int, time_us: int) -> None:
        self.forward_edges += edges
        self.direction.moved(1, edges)
        super()._gain_ground(edges, time_us)

    def _go_backward(self, edges: int) -> None:
        self.backward_edges += edges
        self.direction.moved(-1, edges)
        super()._go_backward(edges)

    def _reject(self) -> None:
        self.rejections += 1
        super()._reject()


def board_count(chunks: Iterable[EdgeChunk], settings: Settings) -> Count:
    """Run the firmware's decoder over the edges and return what it counted."""
    crank = _CountingCrank(settings, 0)
    log = EdgeLog()
    end_us = CONTROL_PERIOD_US
    standstill_us = crank._standstill_us
    first = True
    for chunk in chunks:
        times_us = (chunk.times_ns // 1000).tolist()
        for time_us, levels in zip(times_us, chunk.levels.tolist(), strict=True):
            if first:
                # The level at power-up is not an edge.
                crank.levels = levels
                first = False
            if time_us >= end_us:
                _step(crank, log, end_us)
                # Between edges only two steps matter: the one that accepts the last edge, and the one that
                # latches a standstill.
                if time_us > end_us + CONTROL_PERIOD_US:
                    _step(crank, log, end_us + CONTROL_PERIOD_US)
                if time_us > end_us + standstill_us + CONTROL_PERIOD_US:
                    _step(crank, log, end_us + standstill_us + CONTROL_PERIOD_US)
                end_us = (time_us // CONTROL_PERIOD_US + 1) * CONTROL_PERIOD_US
            log.record(levels, time_us & TICKS_MAX_US)
    _step(crank, log, end_us)
    _step(crank, log, end_us + CONTROL_PERIOD_US)
    rejected = crank.rejections + log.overruns
    return Count(crank.forward_edges, crank.backward_edges, crank.direction.reversals, rejected)


def _step(crank: Crank, log: EdgeLog, now_us: int) -> None:
    """Process the crank like one step of the controller."""
    crank.begin_step()
    while log.take():
        crank.edge(log.levels, log.time_us)
    crank.settle(now_us & TICKS_MAX_US)


def moves_of(a: CleanChannel, b: CleanChannel) -> tuple[Times, NDArray[np.int8]]:
    """Return the times (ns) of all changes and the table's entry for each: 1 if A leads, -1, or DOUBLE."""
    when_ns = np.union1d(a.times_ns, b.times_ns)
    states = 2 * a.level_at(when_ns).astype(np.int64) + b.level_at(when_ns)
    before = np.concatenate(([2 * a.first_level + b.first_level], states[:-1])) if len(states) else states
    return when_ns, np.asarray(TRANSITIONS[4 * before + states])


def table_count(a: CleanChannel, b: CleanChannel, a_leads: bool) -> Count:
    """Count the edges of clean channels by the transition table."""
    _, moves = moves_of(a, b)
    single = moves[np.abs(moves) == 1] * (1 if a_leads else -1)
    direction = _Direction()
    for move in single.tolist():
        direction.moved(move, 1)
    return Count(
        int(np.count_nonzero(single > 0)),
        int(np.count_nonzero(single < 0)),
        direction.reversals,
        int(np.count_nonzero(moves == DOUBLE)),
    )
