"""Reads CSV captures with levels for each sample and no times: a comment or the user gives the rate."""

import re
from codecs import BOM_UTF8
from collections.abc import Iterator
from pathlib import Path

import numpy as np

from host_sim.capture.blocks import Done, shown, whole_pieces
from host_sim.capture.choice import choose
from host_sim.capture.csv_header import COMMENTS, HEAD_BYTES, MULTIPLES, SEPARATORS
from host_sim.capture.csv_rows import LEVEL_WORDS, UNKNOWN_WORDS
from host_sim.capture.edges import RATE_MAX_HZ, Capture, Damage, Levels, Times, sample_times_ns
from host_sim.errors import RequestError
from host_sim.textfile import open_file, spoken

_RATE = re.compile(rb"sample\s*rate\s*[:=]?\s*(\d+(?:\.\d+)?)\s*([kmg]?)hz", re.IGNORECASE)


def samplerate_of(path: Path, told_hz: int | None) -> int:
    """Return the rate of a file that has levels only, 0 where its rows have a column of times."""
    lines = _head_lines(path)
    data = _rows(lines)
    if len(data) < 2 or not all(_levels(line) for line in data[1:]):
        return 0
    if told_hz is not None:
        return told_hz
    # Two columns of 0 and 1 may also be a time and a level: only a rate decides.
    found = next((match for line in lines if line not in data and (match := _RATE.search(line))), None)
    return round(float(found[1]) * MULTIPLES[found[2].decode().lower()]) if found else 0


def _head_lines(path: Path) -> list[bytes]:
    with open_file(path) as file:
        head = file.read(HEAD_BYTES).removeprefix(BOM_UTF8)
    lines = [line.strip() for line in head.split(b"\n")]
    return lines[:-1] if len(head) == HEAD_BYTES else lines


def _rows(lines: list[bytes]) -> list[bytes]:
    """Return the lines that are neither empty nor a comment."""
    return [line for line in lines if line and not line.startswith(COMMENTS)]


def _words(line: bytes) -> list[str]:
    text = line.decode("latin-1")
    separator = next((sign for sign in SEPARATORS if sign in text), ",")
    return [word.strip().strip('"').casefold() for word in text.split(separator)]


def _levels(line: bytes) -> bool:
    return all(word in LEVEL_WORDS or word in UNKNOWN_WORDS for word in _words(line))


class SampledCsvCapture(Capture):
    """A CSV file of samples. x and z are not levels: the channel keeps its previous level."""

    form = "CSV"

    def __init__(self, path: Path, channels: tuple[str, ...] | None, rate_hz: int, done: Done | None) -> None:
        """Read the names of the columns; without names they are numbers, from 1."""
        if not 1 <= rate_hz <= RATE_MAX_HZ:
            raise RequestError(
                f"{spoken(path.name)}: the sample rate is {rate_hz} Hz, allowed is 1 to {RATE_MAX_HZ}"
            )
        first_row = _rows(_head_lines(path))[0]
        first = _words(first_row)
        self._named = not _levels(first_row)
        names = first if self._named else [f"{number}" for number in range(1, len(first) + 1)]
        self._columns = choose(names, channels, spoken(path.name), "columns of levels")
        self._in_row = len(first)
        self._rate_hz = rate_hz
        self._done = done
        super().__init__(path, tuple(names[column] for column in self._columns))

    def _samples(self) -> Iterator[tuple[Times, Levels]]:
        sample = line = 0
        names_ahead = self._named
        known: dict[bytes, tuple[int, int]] = {}
        before = 0
        with open_file(self.path) as file:
            for piece in whole_pieces(file, (b"\n",), self.path.stat().st_size, self._done):
                levels: list[int] = []
                wrong = ""
                for row in piece.removesuffix(b"\n").split(b"\n"):
                    line += 1
                    row = row.strip().removeprefix(BOM_UTF8)
                    if not row or row.startswith(COMMENTS):
                        continue
                    if names_ahead:
                        names_ahead = False
                        continue
                    read = known.get(row) or self._row(row)
                    if read is None:
                        wrong = f"line {line}: {shown(row)} is not a row of {self._in_row} levels"
                        break
                    known[row] = read
                    value, unknown = read
                    self.unknown_values += unknown.bit_count()
                    before = value | (before & unknown)
                    levels.append(before)
                if levels:
                    index = np.arange(sample, sample + len(levels), dtype=np.int64)
                    sample += len(levels)
                    times_ns = sample_times_ns(index, self._rate_hz)
                    self._last_ns = int(times_ns[-1])
                    yield times_ns, np.array(levels, np.uint8)
                if wrong:
                    raise Damage(f"{wrong}; what follows is not read")

    def _row(self, row: bytes) -> tuple[int, int] | None:
        """Return levels and unknown bits of a row; None if it is not a row of levels."""
        words = _words(row)
        if len(words) != self._in_row or not _levels(row):
            return None
        chosen = [words[column] for column in self._columns]
        levels = sum(LEVEL_WORDS.get(word, 0) << bit for bit, word in enumerate(chosen))
        unknown = sum(1 << bit for bit, word in enumerate(chosen) if word in UNKNOWN_WORDS)
        return levels, unknown
