"""Converts rows of a CSV capture to times and levels: all at once if the rows are alike, else row by row.

The fast way gives up at anything unusual; the slow way then reads the same piece, accepts more forms, and can
report what is wrong in which line.
"""

import csv
from dataclasses import dataclass

import numpy as np

from host_sim.capture.blocks import shown
from host_sim.capture.csv_header import COMMENTS, CsvHeader, pointed
from host_sim.capture.decimals import Bytes, Index, all_in_ns, in_ns
from host_sim.capture.edges import Levels, Times

LEVEL_WORDS = {"0": 0, "1": 1, "l": 0, "h": 1, "low": 0, "high": 1, "false": 0, "true": 1, "off": 0, "on": 1}
UNKNOWN_WORDS = ("x", "z")
BLANKS_MOST = 8  # Blanks before or after a field; the slow way reads rows with more.
_NEITHER = 2
_NO_LEVEL = 3
_SPACE, _RETURN, _COMMA, _POINT, _LINE_END = 32, 13, 44, 46, 10


@dataclass(frozen=True, slots=True)
class Rows:
    """The rows that were read, one entry each: `levels` (bit 0 A, bit 1 B), `unknown` (bits without a level).

    `lines` are the rows' lines, counted from 0 in the piece. `wrong_line` and `wrong`: line and fault of the
    first row that can't be read; `wrong` is "" if there is none.
    """

    times_ns: Times
    levels: Levels
    unknown: Levels
    lines: Index
    wrong_line: int
    wrong: str


def read_rows(text: bytes, header: CsvHeader) -> Rows:
    """Read a piece that ends with a line end."""
    return _alike_rows(text, header) or rows_one_by_one(text, header)


def _alike_rows(text: bytes, header: CsvHeader) -> Rows | None:
    """Read a piece whose rows all have the same columns and nothing unusual; None if there are others."""
    letters = np.frombuffer(text, np.uint8).copy()
    line_ends = np.flatnonzero(letters == _LINE_END)
    between = np.flatnonzero(letters == ord(header.separator))
    inner = header.columns_in_row - 1
    if len(between) != inner * len(line_ends):
        return None
    borders = np.empty((len(line_ends), inner + 2), np.int64)
    borders[1:, 0] = line_ends[:-1]
    borders[0, 0] = -1
    borders[:, 1:-1] = between.reshape(-1, inner)
    borders[:, -1] = line_ends
    if not (borders[:, 1:] > borders[:, :-1]).all():
        return None
    if header.separator != ",":
        letters[letters == _COMMA] = _POINT
    stripped = _stripped(letters, borders, header.time_column)
    times_ns = None if stripped is None else all_in_ns(letters, *stripped, header.exponent)
    if times_ns is None:
        return None
    levels = np.zeros(len(line_ends), np.uint8)
    unknown = np.zeros(len(line_ends), np.uint8)
    for channel, column in enumerate(header.columns):
        stripped = _stripped(letters, borders, column)
        values = None if stripped is None else _level_words(letters, *stripped)
        if values is None:
            return None
        levels |= (values & 1) << np.uint8(channel)
        unknown |= (values >> 1) << np.uint8(channel)
    return Rows(times_ns, levels, unknown, np.arange(len(line_ends)), 0, "")


def _stripped(letters: Bytes, borders: Index, column: int) -> tuple[Index, Index] | None:
    """Return where the fields of a column begin and end without blanks; None if there are too many."""
    starts, ends = borders[:, column] + 1, borders[:, column + 1].copy()
    for _ in range(BLANKS_MOST):
        before = (letters[starts] == _SPACE) & (starts < ends)
        after = (ends > starts) & ((letters[ends - 1] == _SPACE) | (letters[ends - 1] == _RETURN))
        if not before.any() and not after.any():
            return starts, ends
        starts = starts + before
        ends -= after & (ends > starts)
    return None


def _level_words(letters: Bytes, starts: Index, ends: Index) -> Bytes | None:
    """Return 0, 1 or _NEITHER for each field; None if one is not a level."""
    lengths = ends - starts
    values = np.full(len(starts), _NO_LEVEL, np.uint8)
    words = LEVEL_WORDS | dict.fromkeys(UNKNOWN_WORDS, _NEITHER)
    for word, level in words.items():
        rows = np.flatnonzero((lengths == len(word)) & (values == _NO_LEVEL))
        for offset, letter in enumerate(word.encode()):
            read = letters[starts[rows] + offset]
            rows = rows[(read | np.uint8(32) if letter >= 64 else read) == letter]
        values[rows] = level
        if not (values == _NO_LEVEL).any():
            return values
    return None


def rows_one_by_one(text: bytes, header: CsvHeader) -> Rows:
    """Read a piece row by row, up to the first that can't be read."""
    rows: list[tuple[int, int, int, int]] = []
    wrong_line, wrong = 0, ""
    for number, line in enumerate(text.split(b"\n")):
        if not line.strip() or line.lstrip().startswith(COMMENTS):
            continue
        row = _row(line, header)
        if isinstance(row, str):
            wrong_line, wrong = number, row
            break
        rows.append((*row, number))
    times_ns, levels, unknown, lines = np.array(rows, np.int64).reshape(-1, 4).T.copy()
    return Rows(times_ns, levels.astype(np.uint8), unknown.astype(np.uint8), lines, wrong_line, wrong)


def _row(line: bytes, header: CsvHeader) -> tuple[int, int, int] | str:
    """Return time, levels and unknown bits of one row, or what is wrong with it."""
    try:
        (fields,) = csv.reader([line.decode("latin-1")], delimiter=header.separator, strict=True)
    except (csv.Error, ValueError):
        return f"{shown(line)} is not a row of columns"
    if len(fields) != header.columns_in_row:
        return f"the number of columns is {len(fields)}, allowed is {header.columns_in_row}"
    fields = [field.strip() for field in fields]
    time_ns = in_ns(pointed(fields[header.time_column], header.separator), header.exponent)
    if time_ns is None:
        return f"{shown(fields[header.time_column].encode('latin-1'))} is not a time"
    levels = unknown = 0
    for channel, column in enumerate(header.columns):
        word = fields[column].casefold()
        if word in UNKNOWN_WORDS:
            unknown |= 1 << channel
        elif word not in LEVEL_WORDS:
            said = shown(fields[column].encode("latin-1"))
            return f"{said} is not a level, allowed is 0 or 1, L or H, low or high, false or true, off or on"
        else:
            levels |= LEVEL_WORDS[word] << channel
    return time_ns, levels, unknown
