"""A CSV file of volts as a capture of edges, with access to the volts."""

from collections.abc import Iterator
from pathlib import Path

import numpy as np

from host_sim.capture.analog.layout import Layout
from host_sim.capture.analog.rows import Piece, pieces_of
from host_sim.capture.analog.smoothing import smoothed
from host_sim.capture.analog.swing import Swing, dead_channels, swings_of
from host_sim.capture.analog.switching import Runs, Switch, Thresholds
from host_sim.capture.blocks import Done
from host_sim.capture.edges import Capture, Damage, Levels, Times
from host_sim.capture.stretches import Floats
from host_sim.units import NS_PER_S

LEVELS_V = (0.8, 2.0)  # Levels at which a 3.3 V input is low and high (JEDEC JESD8C.01, LVTTL).


class VoltsCapture(Capture):
    """A CSV file of volts. After `chunks`: `swings` and `runs` of each channel, `start_ns` on its clock.

    `told_v`: the thresholds that the user gave, low and high; None if they follow from the swing.
    """

    form = "CSV in volts"

    def __init__(
        self, path: Path, layout: Layout, told_v: tuple[float, float] | None, done: Done | None
    ) -> None:
        """Store the result of `layout_of`."""
        super().__init__(path, layout.names)
        self.layout = layout
        self.told_v = told_v
        self._done = done
        self.swings: list[Swing] = []
        self.runs: list[Runs] = []
        self.start_ns = 0

    def thresholds_of(self, channel: int) -> Thresholds:
        """Return a function that gives a channel's two thresholds (V) at times of the file's clock (s)."""
        told_v = self.told_v
        if told_v is None and dead_channels(self.swings)[channel]:
            told_v = LEVELS_V
        if told_v is None:
            return self.swings[channel].thresholds_v
        low_v, high_v = told_v
        return lambda when_s: (np.full(len(when_s), low_v), np.full(len(when_s), high_v))

    def shown(self, begin_s: float, end_s: float) -> tuple[Floats, Floats]:
        """Return times (s of the capture) and volts between two times, at most some thousands of samples."""
        times: list[Floats] = []
        volts: list[Floats] = []
        try:
            for piece in pieces_of(self.path, self.layout, None):
                at_s = (piece.times_ns - self.start_ns) / NS_PER_S
                inside = (at_s >= begin_s) & (at_s <= end_s)
                times.append(at_s[inside])
                volts.append(piece.volts[:, inside])
                if at_s[-1] > end_s:
                    break
        except Damage:
            pass  # Show the part that was read.
        all_s, all_v = np.concatenate(times), np.concatenate(volts, axis=1)
        step = max(len(all_s) // 4000, 1)
        return all_s[::step], all_v[:, ::step]

    def _samples(self) -> Iterator[tuple[Times, Levels]]:
        if not self.swings:
            self.swings = swings_of(self._whole_pieces(), len(self.channels))
        switches = [Switch(self.thresholds_of(channel)) for channel in range(len(self.channels))]
        first = True
        try:
            linear = [one.linear for one in self.swings]
            for piece in smoothed(pieces_of(self.path, self.layout, self._done), linear):
                if first:
                    self.start_ns = int(piece.times_ns[0])
                self._last_ns = int(piece.times_ns[-1])
                taken = [one.take(piece.times_ns, piece.volts[at]) for at, one in enumerate(switches)]
                yield _joined(taken, int(piece.times_ns[0]), first)
                first = False
        finally:
            self.runs = [one.runs() for one in switches]

    def _whole_pieces(self) -> Iterator[Piece]:
        """Yield the pieces up to the place where the file is damaged."""
        try:
            yield from pieces_of(self.path, self.layout, None)
        except Damage:
            return


def _joined(taken: list[tuple[int, Times]], begin_ns: int, first: bool) -> tuple[Times, Levels]:
    """Return all changes of a piece in order of time, and of the first piece its first levels."""
    level = sum(begins << bit for bit, (begins, _) in enumerate(taken))
    when = np.concatenate([changes for _, changes in taken])
    flips = np.concatenate([np.full(len(changes), 1 << bit) for bit, (_, changes) in enumerate(taken)])
    order = np.argsort(when, kind="stable")
    levels = level ^ np.bitwise_xor.accumulate(flips[order].astype(np.int64)) if len(when) else flips
    times = when[order]
    if first:
        times = np.concatenate((np.array([begin_ns], np.int64), times))
        levels = np.concatenate((np.array([level], np.int64), levels))
    return times.astype(np.int64), levels.astype(np.uint8)
