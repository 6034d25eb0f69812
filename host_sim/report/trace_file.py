"""Reads a ride's trace back for a picture: thinned, so that memory use is bounded, or in full in a window."""

import csv
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from host_sim.report.samples import spans_of

ROWS_KEPT = 60_000  # 50 minutes at twenty rows a second; a longer ride is thinned evenly.
TEXT_COLUMNS = frozenset({"state", "lowest_ceiling", "fault"})

Column = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class RideTrace:
    """Columns of a trace by name, of equal length: arrays of float, and `state` and `fault` as words."""

    numbers: dict[str, Column]
    words: dict[str, list[str]]

    def __getitem__(self, name: str) -> Column:
        return self.numbers[name]

    def spans(self, state: str) -> list[tuple[float, float]]:
        """Return from when to when the engagement was in `state`, in seconds."""
        return spans_of(self.numbers["time_s"].tolist(), self.words["state"], state)


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
