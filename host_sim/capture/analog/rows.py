"""Rows of a CSV file of volts to numbers, piece by piece."""

import io
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from host_sim.capture.analog.layout import Layout, is_number
from host_sim.capture.blocks import Done, shown, whole_pieces
from host_sim.capture.csv_header import pointed
from host_sim.capture.edges import Damage, Times
from host_sim.capture.stretches import Floats
from host_sim.textfile import open_file
from host_sim.units import NS_PER_S

TIME_NS_MOST = 9e18


@dataclass(frozen=True, slots=True)
class Piece:
    """Some samples: `times_ns` never falls; `volts` has a row for each channel.

    Where the range was left (infinite), the last number before it stands.
    """

    times_ns: Times
    volts: Floats


def pieces_of(path: Path, layout: Layout, done: Done | None) -> Iterator[Piece]:
    """Give all samples in pieces; raise Damage, as readers of edges do, where rows stop making sense."""
    line, sample = layout.lines, 0
    before_ns: int | None = None
    last = np.zeros(len(layout.columns))
    scales = np.array(layout.scales)
    with open_file(path) as file:
        file.seek(layout.data_begin)
        for text in whole_pieces(file, (b"\n",), path.stat().st_size, done):
            numbers, wrong = _numbers(text, layout)
            times_ns = _times(numbers, layout, sample)
            end = _ascending(times_ns, before_ns)
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


def _ascending(times_ns: Times, before_ns: int | None) -> int:
    """Return how many samples come in order of time."""
    if before_ns is not None:
        times_ns = np.concatenate((np.array([before_ns], np.int64), times_ns))
    back = np.flatnonzero(times_ns[1:] < times_ns[:-1])
    all_of_them = len(times_ns) - (before_ns is not None)
    return int(back[0]) + (before_ns is None) if len(back) else all_of_them


def _numbers(text: bytes, layout: Layout) -> tuple[Floats, str]:
    """Return a row of numbers for each line, times first, and what is wrong with the first bad line."""
    wanted = [layout.time_column] if layout.time_column >= 0 else []
    try:
        return _read(text, layout, [*wanted, *layout.columns]), ""
    except ValueError:
        good = _good_bytes(text, layout)
        bad = text[good:].split(b"\n", 1)[0].strip()
        wrong = f"{shown(bad)} is not a row of {layout.columns_in_row} columns with numbers"
        return _read(text[:good], layout, [*wanted, *layout.columns]), wrong


def _read(text: bytes, layout: Layout, columns: list[int]) -> Floats:
    if not text.strip():
        return np.zeros((0, len(columns)))
    text = text.replace("∞".encode(), b"inf")
    if layout.separator != ",":
        text = text.replace(b",", b".")
    return np.loadtxt(io.BytesIO(text), delimiter=layout.separator, ndmin=2, usecols=columns, quotechar='"')


def _good_bytes(text: bytes, layout: Layout) -> int:
    """Return how many bytes of a piece are rows as they should be."""
    good = 0
    for line in text.splitlines(keepends=True):
        words = [word.strip().strip('"') for word in line.decode("utf-8", "replace").split(layout.separator)]
        wanted = [*layout.columns, *([layout.time_column] if layout.time_column >= 0 else [])]
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
    if not (np.abs(times) < TIME_NS_MOST).all():
        raise Damage("has a time that is not a number; what follows is not read")
    return np.asarray(np.round(times), np.int64)


def _finite(volts: Floats, last: Floats) -> Floats:
    """Return the volts, each that is none or beyond the range replaced by the one before it."""
    if np.isfinite(volts).all():
        return volts
    padded = np.column_stack((last, volts))
    known = np.maximum.accumulate(np.where(np.isfinite(padded), np.arange(padded.shape[1]), 0), axis=1)
    return np.asarray(np.take_along_axis(padded, known, axis=1)[:, 1:])
