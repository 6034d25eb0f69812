"""Converts volts to edges: a switch with two thresholds, like a comparator with hysteresis.

Crossings are interpolated linearly between two samples, so their times are finer than the sampling. For each
run between two edges the extreme voltage is stored.
"""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from host_sim.capture.edges import Times
from host_sim.capture.stretches import Floats
from host_sim.units import NS_PER_S

RUNS_MOST = 600_000
Thresholds = Callable[[Floats], tuple[Floats, Floats]]


@dataclass(frozen=True, slots=True)
class Runs:
    """Runs between two edges, an entry each: begin, level (0 or 1), and the extreme voltage in it.

    `flat`: the share of samples that are equal to the extreme one.
    """

    begin_ns: Times
    level: Times
    extreme_v: Floats
    flat: Floats


class Switch:
    """Processes the samples of one channel piece by piece; `level` is the present level."""

    def __init__(self, thresholds: Thresholds) -> None:
        """Store the function that returns the two thresholds for times in seconds."""
        self._thresholds = thresholds
        self.level = -1  # Unknown before the first sample.
        self._time_ns = 0
        self._volt = 0.0
        self._rows: list[tuple[int, int, float, float]] = []
        self._begin_ns = 0
        self._extreme_v, self._count, self._equal = 0.0, 0, 0

    def take(self, times_ns: Times, volts: Floats) -> tuple[int, Times]:
        """Return the level before the first sample, and the times of the changes."""
        low_v, high_v = self._thresholds(times_ns / NS_PER_S)
        if self.level < 0:
            self.level = int(volts[0] > 0.5 * (low_v[0] + high_v[0]))
            self._time_ns, self._volt, self._begin_ns = int(times_ns[0]), float(volts[0]), int(times_ns[0])
            self._extreme_v = float(volts[0])
        first = self.level
        mark = np.where(volts >= high_v, 1, np.where(volts <= low_v, 0, -1))
        known = np.maximum.accumulate(np.where(mark >= 0, np.arange(len(mark)), -1))
        level = np.where(known >= 0, mark[np.maximum(known, 0)], first)
        changes = np.flatnonzero(np.diff(level, prepend=first))
        when_ns = self._crossings(changes, level, times_ns, volts, low_v, high_v)
        self._note_runs(changes, level, when_ns, volts)
        self.level = int(level[-1])
        self._time_ns, self._volt = int(times_ns[-1]), float(volts[-1])
        return first, when_ns

    def runs(self) -> Runs:
        """Return the runs that have ended."""
        begins, levels, extremes, flat = zip(*self._rows, strict=True) if self._rows else ((), (), (), ())
        return Runs(
            np.array(begins, np.int64),
            np.array(levels, np.int64),
            np.array(extremes, np.float64),
            np.array(flat, np.float64),
        )

    def _crossings(
        self, changes: Times, level: Times, times_ns: Times, volts: Floats, low_v: Floats, high_v: Floats
    ) -> Times:
        before_ns = np.concatenate((np.array([self._time_ns], np.int64), times_ns))[changes]
        before_v = np.concatenate((np.array([self._volt]), volts))[changes]
        threshold = np.where(level[changes] == 1, high_v[changes], low_v[changes])
        step = volts[changes] - before_v
        share = np.clip((threshold - before_v) / np.where(step == 0.0, 1.0, step), 0.0, 1.0)
        return np.asarray(np.round(before_ns + share * (times_ns[changes] - before_ns)), np.int64)

    def _note_runs(self, changes: Times, level: Times, when_ns: Times, volts: Floats) -> None:
        """Continue the present run, and store those that end in this piece."""
        borders = [0, *changes.tolist(), len(volts)]
        begins = [self._begin_ns, *when_ns.tolist()]
        for place in range(len(borders) - 1):
            samples = volts[borders[place] : borders[place + 1]]
            high = self.level if place == 0 else int(level[borders[place]])
            if place:
                self._extreme_v, self._count, self._equal = (-np.inf if high else np.inf), 0, 0
                self._begin_ns = begins[place]
            if len(samples):
                self._add(samples, high)
            if place < len(borders) - 2 and len(self._rows) < RUNS_MOST:
                flat = self._equal / max(self._count, 1)
                self._rows.append((self._begin_ns, high, self._extreme_v, flat))

    def _add(self, samples: Floats, high: int) -> None:
        furthest = float(samples.max() if high else samples.min())
        if furthest == self._extreme_v or (furthest < self._extreme_v) == bool(high):
            self._equal += int(np.count_nonzero(samples == self._extreme_v))
        else:
            self._extreme_v, self._equal = furthest, int(np.count_nonzero(samples == furthest))
        self._count += len(samples)
