"""Recorded edges as a stream: the output of every reader of capture files, whatever the format."""

from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from host_sim.errors import RequestError
from host_sim.textfile import spoken
from host_sim.units import NS_PER_S

CHANNEL_A = 1  # The bits of a level, as in the firmware's EdgeLog.
CHANNEL_B = 2

Times = NDArray[np.int64]
Levels = NDArray[np.uint8]

TIME_NS_MAX = 9 * 10**18  # 285 years: fits 63 bits.
RATE_MAX_HZ = 9 * 10**9  # A sample's part of a second times NS_PER_S then fits 63 bits.


@dataclass(frozen=True, slots=True)
class EdgeChunk:
    """Consecutive edges: at `times_ns[i]` the levels become `levels[i]` and stay until the next edge.

    `times_ns` counts from the start of the capture and ascends; no two are equal. `levels`: bit 0 channel A,
    bit 1 channel B, as in the firmware's EdgeLog. Both have the same length, at least 1.
    """

    times_ns: Times
    levels: Levels


class Damage(Exception):
    """Where a file is damaged, and what was read there: a sentence that follows the file's name."""


class Capture:
    """An opened capture file. `chunks` yields its edges; each call starts again at the beginning.

    `form` is "VCD", "CSV", "session file" or "board dump"; `channels` are the names of the one or two
    channels that are read, A first. After `chunks` has ended: `damage` is "" or a sentence that names the
    place where reading stopped and what was found there; `duration_ns` is the time from the first sample to
    the last item that was read; `unknown_values` is how often a channel was neither high nor low, so that it
    kept its previous level (low if it had none).
    """

    form = ""

    def __init__(self, path: Path, channels: tuple[str, ...]) -> None:
        """Store the file's path and the names of its one or two channels, A first."""
        self.path = path
        self.channels = channels
        self.damage = ""
        self.duration_ns = 0
        self.unknown_values = 0
        # An object that must exist as long as the capture, such as a temporary folder.
        self.keeps: object = None
        self._last_ns = 0  # The last time in the file, on its own clock.

    def chunks(self) -> Iterator[EdgeChunk]:
        """Yield the edges in order of time, the first sample at time 0, then only changes.

        Memory use does not depend on the length of the file. Levels that last less than the resolution of
        the file's clock are not seen: of several at the same time the last one counts. RequestError if there
        is no sample at all, or if the file can't be read any more.
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
        """Yield samples in order of time on the file's own clock, changed or not; Damage where it is damaged.

        Update `_last_ns` and `unknown_values`.
        """
        raise NotImplementedError


class _Tidy:
    """Turns samples into changes at strictly ascending times, counted from the first sample."""

    def __init__(self) -> None:
        self.start_ns: int | None = None
        self.last_ns = 0  # Of the sample that is held back: another one at the same time may replace it.
        self._held = 0
        self._given: int | None = None  # The levels of the last edge that was given.

    def take(self, times_ns: Times, levels: Levels) -> Iterator[EdgeChunk]:
        """Process samples in order of time; yield the changes among them except those at the last time."""
        if len(times_ns) == 0:
            return
        if self.start_ns is None:
            self.start_ns = int(times_ns[0])
        else:
            times_ns = np.concatenate((np.array([self.last_ns], np.int64), times_ns))
            levels = np.concatenate((np.array([self._held], np.uint8), levels))
        self.last_ns = int(times_ns[-1])
        self._held = int(levels[-1])
        last_at_time = np.flatnonzero(times_ns[1:] != times_ns[:-1])
        yield from self._changes(times_ns[last_at_time], levels[last_at_time])

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


def ascending(times_ns: Times, before_ns: int | None) -> int:
    """Return how many times are in order; `before_ns` is the one before them, None if there is none."""
    # Compared, not subtracted: a difference of two times may exceed 63 bits.
    earlier_ns = np.concatenate((times_ns[:1] if before_ns is None else [before_ns], times_ns[:-1]))
    back = np.flatnonzero(times_ns < earlier_ns)
    return int(back[0]) if len(back) else len(times_ns)


def sample_times_ns(samples: Times, rate_hz: int) -> Times:
    """Return the times of samples, numbered from 0, at `rate_hz` (1 to RATE_MAX_HZ), rounded to ns."""
    whole_s, part = np.divmod(samples, rate_hz)
    return np.asarray(whole_s * NS_PER_S + (part * NS_PER_S + rate_hz // 2) // rate_hz)
