"""Recorded edges as a stream: the output of every reader of capture files, whatever the format."""

from collections.abc import Iterator
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from host_sim.errors import RequestError
from host_sim.textfile import spoken

CHANNEL_A = 1  # The bits of a level, as in the firmware's EdgeLog.
CHANNEL_B = 2

Times = NDArray[np.int64]
Levels = NDArray[np.uint8]


class EdgeChunk:
    """Some edges in a row: at `times_ns[i]` the levels become `levels[i]` and stay until the next edge.

    `times_ns` counts from the start of the capture and ascends; no two are equal. `levels`: bit 0 channel A,
    bit 1 channel B, as in the firmware's EdgeLog. Both have the same length, at least 1.
    """

    __slots__ = ("levels", "times_ns")

    def __init__(self, times_ns: Times, levels: Levels) -> None:
        """Join two arrays of one length."""
        self.times_ns = times_ns
        self.levels = levels


class Damage(Exception):
    """The place where a file is damaged, and what was read there: a sentence that follows the file's name."""


class Capture:
    """A capture file, opened: its edges come from `chunks`, as often as one likes, each time from the start.

    `form` is "VCD", "CSV", "session file" or "board dump"; `channels` are the names of the one or two
    channels that are read, A first. After `chunks` has ended: `damage` is "" or a sentence that names the
    place where reading stopped and what stood there; `duration_ns` is the time from the first sample to the
    last thing that was read; `unknown_values` is how often a channel was neither high nor low, so that its
    level before (low, where there was none) was kept.
    """

    form = ""

    def __init__(self, path: Path, channels: tuple[str, ...]) -> None:
        """Store the file's path and the names of its one or two channels, A first."""
        self.path = path
        self.channels = channels
        self.damage = ""
        self.duration_ns = 0
        self.unknown_values = 0
        self.keeps: object = (
            None  # An object that must exist as long as the capture, such as a temporary folder.
        )
        self._last_ns = 0  # The last moment in the file, on its own clock.

    def chunks(self) -> Iterator[EdgeChunk]:
        """Yield the edges in order of time, the first sample at time 0, then only changes.

        Memory stays the same however long the file is. Levels that last less than the file's clock can tell
        are not seen: of several at one moment the last one counts. RequestError if there is no sample at all,
        or if the file can't be read any more.
        """
        self.damage = ""
        self.unknown_values = 0
        self._last_ns = 0
        tidy = _Tidy()
        try:
            for times_ns, levels in self._samples():
                yield from tidy.take(times_ns, levels)
        except Damage as damage:
            self.damage = f"{spoken(self.path.name)} {damage}"
        except OSError as error:
            raise RequestError(
                f"{spoken(self.path)}: it can't be read ({error.strerror or error})"
            ) from error
        if tidy.start_ns is None:
            nothing = f"{spoken(self.path.name)}: no level of {' and '.join(self.channels)} is in it"
            raise RequestError(self.damage or nothing)
        self.duration_ns = max(self._last_ns, tidy.last_ns) - tidy.start_ns
        yield from tidy.rest()

    def _samples(self) -> Iterator[tuple[Times, Levels]]:
        """Yield samples in order of time on the file's own clock, changed or not; raise Damage at its damage.

        Update `_last_ns` and `unknown_values`.
        """
        raise NotImplementedError


class _Tidy:
    """Makes strictly ascending changes, counted from the first sample, of samples in any number."""

    def __init__(self) -> None:
        self.start_ns: int | None = None
        self.last_ns = 0  # Of the sample that is held back: another one at the same moment may overrule it.
        self._held = 0
        self._given: int | None = None  # The levels of the last edge that was given.

    def take(self, times_ns: Times, levels: Levels) -> Iterator[EdgeChunk]:
        """Process samples in order of time; yield the changes among them except those of the last moment."""
        if len(times_ns) == 0:
            return
        if self.start_ns is None:
            self.start_ns = int(times_ns[0])
        else:
            times_ns = np.concatenate((np.array([self.last_ns], np.int64), times_ns))
            levels = np.concatenate((np.array([self._held], np.uint8), levels))
        self.last_ns = int(times_ns[-1])
        self._held = int(levels[-1])
        last_of_moment = np.flatnonzero(times_ns[1:] != times_ns[:-1])
        yield from self._changes(times_ns[last_of_moment], levels[last_of_moment])

    def rest(self) -> Iterator[EdgeChunk]:
        """Yield the sample that was held back, if it is a change."""
        yield from self._changes(np.array([self.last_ns], np.int64), np.array([self._held], np.uint8))

    def _changes(self, times_ns: Times, levels: Levels) -> Iterator[EdgeChunk]:
        if len(levels) == 0 or self.start_ns is None:
            return
        changed = np.empty(len(levels), np.bool_)
        changed[0] = self._given is None or int(levels[0]) != self._given
        np.not_equal(levels[1:], levels[:-1], out=changed[1:])
        self._given = int(levels[-1])
        if changed.any():
            yield EdgeChunk(times_ns[changed] - self.start_ns, levels[changed])
