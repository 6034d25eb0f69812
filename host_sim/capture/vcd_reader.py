"""Reads VCD files (IEEE 1364): the values of one or two bits over time."""

from collections.abc import Iterator
from pathlib import Path

import numpy as np

from host_sim.capture.blocks import Done, shown, whole_pieces
from host_sim.capture.decimals import Bytes, Index
from host_sim.capture.edges import TIME_NS_MAX, Capture, Damage, Levels, Times
from host_sim.capture.vcd_header import Bit, read_vcd_header
from host_sim.capture.vcd_words import HIGH, LOW, NEITHER, NO_VALUE, Words, without_comments
from host_sim.textfile import open_file, spoken

ZS_PER_NS = 10**12
WORD_ENDS = (b"\n", b" ", b"\t", b"\r")


class VcdCapture(Capture):
    """A VCD file. x, z, u, w and - are not levels: the channel keeps its previous one. H and L are levels."""

    form = "VCD"

    def __init__(self, path: Path, channels: tuple[str, ...] | None, done: Done | None) -> None:
        """Read the header and find the channels."""
        with open_file(path) as file:
            self._header = read_vcd_header(file, path)
        self._bits = self._header.choose(channels, spoken(path.name))
        self._done = done
        super().__init__(path, tuple(bit.name for bit in self._bits))

    def _samples(self) -> Iterator[tuple[Times, Levels]]:
        changes = _ValueChanges(self._bits, self._header.scale_zs, self._header.lines + 1)
        with open_file(self.path) as file:
            bytes_all = self.path.stat().st_size
            file.seek(self._header.end)
            for text in whole_pieces(file, WORD_ENDS, bytes_all, self._done):
                yield changes.take(text)
                self._last_ns = changes.now_ns
                self.unknown_values = changes.unknown_values
                if changes.damage:
                    raise Damage(changes.damage)
        if changes.unfinished:
            raise Damage(changes.unfinished)


class _ValueChanges:
    """The changes of the chosen bits, piece by piece. Read: `now_ns`, `damage`, `unfinished`."""

    def __init__(self, bits: list[Bit], scale_zs: int, line: int) -> None:
        self._bits = bits
        self._numerator, self._denominator = _fraction(scale_zs)
        self._time_max = min(TIME_NS_MAX * self._denominator // self._numerator, 2**63 - 1)
        self._line = line
        self._now = 0
        self._values = [LOW] * len(bits)
        self._inside_comment = False
        self._rest = b""
        self._start: int | None = None
        self._begun = False
        self.unknown_values = 0
        self.damage = ""

    @property
    def now_ns(self) -> int:
        return int(self._all_in_ns(np.array([self._now], np.int64))[0])

    @property
    def unfinished(self) -> str:
        if self._rest:
            return (
                f"line {self._line}: the file ends after {shown(self._rest.rstrip())}, a value of no variable"
            )
        return f"line {self._line}: the file ends inside a $comment" if self._inside_comment else ""

    def take(self, text: bytes) -> tuple[Times, Levels]:
        """Process the next piece; return its samples up to the first invalid word."""
        clean, self._inside_comment = without_comments(text, self._inside_comment)
        words = Words(self._rest + clean)
        self._rest = words.rest
        end = words.first_strange()
        reason = "not a time, value or keyword"
        places, times, wrong = words.times()
        if wrong < end:
            end, reason = wrong, "not a time"
        end, reason = self._check_times(places, times, end, reason)
        at, channels, values = self._changes(words)
        none = at[values == NO_VALUE]
        if len(none) and none[0] < end:
            end, reason = int(none[0]), "not a value of this variable"
        samples = self._levels(at, channels, values, places, times, end)
        if end < len(words.kinds):
            line = self._line + words.text.count(b"\n", 0, int(words.starts[end]))
            self.damage = f"line {line}: {shown(words.word(end))} is {reason}; what follows is not read"
        self._line += text.count(b"\n")
        return samples

    def _check_times(self, places: Index, times: Index, end: int, reason: str) -> tuple[int, str]:
        """Return an earlier end if a time before `end` is too large or less than the one before it."""
        before = np.concatenate((np.array([self._now], np.int64), times[:-1]))
        wrong = np.flatnonzero((times < before) | (times > self._time_max))
        if len(wrong) == 0 or places[wrong[0]] >= end:
            return end, reason
        back = times[wrong[0]] < before[wrong[0]]
        return int(places[wrong[0]]), "earlier than the time before it" if back else "beyond 285 years"

    def _changes(self, words: Words) -> tuple[Index, Bytes, Bytes]:
        """Return the places where the chosen bits get values, which bit, and which value, in file order."""
        found = [words.changes(bit.code, bit.place) for bit in self._bits]
        at = np.concatenate([places for places, _ in found])
        channels = np.repeat(np.arange(len(found), dtype=np.uint8), [len(places) for places, _ in found])
        values = np.concatenate([bit_values for _, bit_values in found])
        order = np.argsort(at, kind="stable")
        return at[order], channels[order], values[order]

    def _levels(
        self, at: Index, channels: Bytes, values: Bytes, places: Index, times: Index, end: int
    ) -> tuple[Times, Levels]:
        """Return the levels of all channels at each of the changes before `end`."""
        known_times = np.concatenate((np.array([self._now], np.int64), times))
        if self._start is None and len(times) and places[0] < end:
            # Values may come before the first time: they apply from 0 on.
            self._start = 0 if len(at) and at[0] < places[0] else int(times[0])
        self._now = int(known_times[np.searchsorted(places, end)])
        before_end = at < end
        self.unknown_values += int(np.count_nonzero(values[before_end] == NEITHER))
        use = before_end & (values != NEITHER)
        begins = bool(before_end.any()) and not self._begun
        at, channels, values = at[use], channels[use], values[use]
        sample_times = known_times[np.searchsorted(places, at)]
        levels = np.zeros(len(at), np.uint8)
        for channel in range(len(self._bits)):
            levels |= self._filled(channel, channels, values) << np.uint8(channel)
        if begins:
            self._begun = True
            start = self._start or 0
            sample_times = np.concatenate((np.array([start], np.int64), sample_times))
            levels = np.concatenate((np.zeros(1, np.uint8), levels))
        return self._all_in_ns(sample_times), levels

    def _filled(self, channel: int, channels: Bytes, values: Bytes) -> Levels:
        """Return the channel's level after each change, its own or another channel's."""
        own = np.where(channels == channel, np.arange(1, len(channels) + 1), 0)
        levels = np.concatenate((np.array([self._values[channel]], np.uint8), values))
        filled = levels[np.maximum.accumulate(own)] if len(own) else levels[:0]
        if len(filled):
            self._values[channel] = int(filled[-1])
        high: Levels = (filled == HIGH).astype(np.uint8)
        return high

    def _all_in_ns(self, times: Times) -> Times:
        """Return times rounded to ns; computed in two parts, so that nothing exceeds 63 bits."""
        whole, part = np.divmod(times, self._denominator)
        rounded: Times = whole * self._numerator
        rounded += (part * self._numerator + self._denominator // 2) // self._denominator
        return rounded


def _fraction(scale_zs: int) -> tuple[int, int]:
    """Return the time scale in ns as a fraction; one of the two is 1."""
    if scale_zs >= ZS_PER_NS:
        return scale_zs // ZS_PER_NS, 1
    # No standard has units below a femtosecond; they are exact here as well.
    return 1, ZS_PER_NS // scale_zs
