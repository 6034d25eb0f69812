"""Reads a ride's trace back for a picture: thinned so that memory stays flat, in full inside one window."""

import csv
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

ROWS_KEPT = 60_000  # 50 minutes at twenty rows a second; a longer ride is thinned evenly.
TEXT_COLUMNS = frozenset({"state", "lowest_ceiling", "fault"})

Column = NDArray[np.float64]


class RideTrace:
    """Columns of a trace by name: numbers as arrays of float, `state` and `fault` as lists of words."""

    def __init__(self, numbers: dict[str, Column], words: dict[str, list[str]]) -> None:
        """Take columns of equal length."""
        self.numbers = numbers
        self.words = words

    def __getitem__(self, name: str) -> Column:
        return self.numbers[name]

    def spans(self, state: str) -> list[tuple[float, float]]:
        """Return from when to when the engagement was in `state`, in seconds."""
        time_s = self.numbers["time_s"]
        spans: list[tuple[float, float]] = []
        start_s: float | None = None
        for index, name in enumerate(self.words["state"]):
            if name == state and start_s is None:
                start_s = float(time_s[index])
            elif name != state and start_s is not None:
                spans.append((start_s, float(time_s[index])))
                start_s = None
        if start_s is not None:
            spans.append((start_s, float(time_s[-1])))
        return spans


def read_trace(path: Path, window_s: tuple[float, float] | None = None) -> RideTrace:
    """Return the trace in `path`: all of it thinned, or every row inside `window_s`."""
    with path.open(encoding="utf-8") as file:
        rows = sum(1 for _ in file) - 1
    every = 1 if window_s else max(1, -(-rows // ROWS_KEPT))
    with path.open(encoding="utf-8", newline="") as file:
        reader = csv.reader(file)
        names = next(reader)
        columns: list[list[str]] = [[] for _ in names]
        for index, row in enumerate(reader):
            if index % every or (window_s and not window_s[0] <= float(row[0]) <= window_s[1]):
                continue
            for column, value in zip(columns, row, strict=True):
                column.append(value)
    numbers = {
        name: np.array(column, dtype=np.float64)
        for name, column in zip(names, columns, strict=True)
        if name not in TEXT_COLUMNS
    }
    words = {name: column for name, column in zip(names, columns, strict=True) if name in TEXT_COLUMNS}
    return RideTrace(numbers, words)
