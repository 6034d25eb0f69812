"""Converts rows of a CSV file of volts to numbers, piece by piece."""

import io
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from host_sim.capture.analog.layout import Layout, is_number
from host_sim.capture.blocks import Done, shown, whole_pieces
from host_sim.capture.csv_header import pointed
from host_sim.capture.edges import TIME_NS_MAX, Damage, Times, ascending
from host_sim.capture.stretches import Floats
from host_sim.textfile import open_file
from host_sim.units import NS_PER_S


@dataclass(frozen=True, slots=True)
class Piece:
    """Consecutive samples: `times_ns` never falls; `volts` has a row for each channel.

    A value out of range (infinite) is replaced by the last number before it.
    """

    times_ns: Times
    volts: Floats


def pieces_of(path: Path, layout: Layout, done: Done | None) -> Iterator[Piece]:
    """Yield all samples in pieces; Damage, as from readers of edges, where a row is invalid."""
    line, sample = layout.lines, 0
    before_ns: int | None = None
    last = np.zeros(len(layout.columns))
    scales = np.array(layout.scales)
    with open_file(path) as file:
        file.seek(layout.data_begin)
        for text in whole_pieces(file, (b"\n",), path.stat().st_size, done):
            numbers, wrong = _numbers(text, layout)
            times_ns = _times(numbers, layout, sample)
            end = ascending(times_ns, before_ns)
            if end:
                volts = _finite(numbers[:end, -len(scales) :].T, last)
                last, before_ns = volts[:, -1], int(times_ns[end - 1])
                yield Piece(times_ns[:end], volts * scales[:, None])
            if end < len(numbers):
                wrong = "the time is earlier than that before it"
                raise Damage(f"number {sample + end + 1} of the samples: {wrong}; what follows is not read")
            if wrong:
                bad_line = line + 1 + text[: _good_bytes(text, layout)].count(b"\n")
                raise Damage(f"line {bad_line}: {wrong}; what follows is not read")
            sample += len(numbers)
            line += text.count(b"\n")


def _numbers(text: bytes, layout: Layout) -> tuple[Floats, str]:
    """Return a row of numbers for each line, times first, and what is wrong with the first invalid line."""
    try:
        return _read(text, layout), ""
    except ValueError:
        good = _good_bytes(text, layout)
        bad = text[good:].split(b"\n", 1)[0].strip()
        wrong = f"{shown(bad)} is not a row of {layout.columns_in_row} columns with numbers"
        return _read(text[:good], layout), wrong


def _columns(layout: Layout) -> list[int]:
    """Return the columns that are read, times first."""
    return [*([layout.time_column] if layout.time_column >= 0 else []), *layout.columns]


def _read(text: bytes, layout: Layout) -> Floats:
    columns = _columns(layout)
    if not text.strip():
        return np.zeros((0, len(columns)))
    text = text.replace("∞".encode(), b"inf")
    if layout.separator != ",":
        text = text.replace(b",", b".")
    return np.loadtxt(io.BytesIO(text), delimiter=layout.separator, ndmin=2, usecols=columns, quotechar='"')


def _good_bytes(text: bytes, layout: Layout) -> int:
    """Return how many bytes at the start of a piece are valid rows."""
    wanted = _columns(layout)
    good = 0
    for line in text.splitlines(keepends=True):
        words = [word.strip().strip('"') for word in line.decode("utf-8", "replace").split(layout.separator)]
        if line.strip() and not line.lstrip().startswith(b"#"):
            if len(words) <= max(wanted):
                return good
            if not all(is_number(pointed(words[place], layout.separator)) for place in wanted):
                return good
        good += len(line)
    return good


def _times(numbers: Floats, layout: Layout, sample: int) -> Times:
    if layout.time_column < 0:
        return np.round((sample + np.arange(len(numbers))) * (NS_PER_S / layout.rate_hz)).astype(np.int64)
    times = numbers[:, 0] * 10.0**layout.exponent
    if not (np.abs(times) < TIME_NS_MAX).all():
        raise Damage("has a time that is not a number; what follows is not read")
    return np.asarray(np.round(times), np.int64)


def _finite(volts: Floats, last: Floats) -> Floats:
    """Return the volts; values that are missing or out of range are replaced by the one before."""
    if np.isfinite(volts).all():
        return volts
    padded = np.column_stack((last, volts))
    known = np.maximum.accumulate(np.where(np.isfinite(padded), np.arange(padded.shape[1]), 0), axis=1)
    return np.asarray(np.take_along_axis(padded, known, axis=1)[:, 1:])
