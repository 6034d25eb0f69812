"""A log: plain CSV with column names in the first line; an empty cell has no value.

A record of `treadle watch --record` is also a log: its columns with known names, and the time of the board.
"""

from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from firmware.ticks import TICKS_MAX_US, ticks_diff_us
from host_sim.errors import RequestError
from host_sim.refusals import closest, shown
from host_sim.table_rows import table_rows
from host_sim.textfile import RIDE_BYTES_MAX, read_text, spoken

Series = NDArray[np.float64]
LIMITS = {
    "time_s": (0.0, 1e6, "s"),
    "speed_m_per_s": (0.0, 40.0, "m/s"),
    "altitude_m": (-500.0, 9000.0, "m"),
    "cadence_rpm": (0.0, 300.0, "rpm"),
    "rider_power_w": (0.0, 3000.0, "W"),
    "battery_v": (0.0, 150.0, "V"),
    "current_a": (-200.0, 200.0, "A"),
    "command_v": (0.0, 5.5, "V"),
}
# The first column of a record of `treadle watch`, and the one with the board's time.
RECORD_FIRST, RECORD_TIME = "received_s", "time_us"


@dataclass(frozen=True, slots=True)
class Log:
    """One file: `columns` of equal length by name, NaN where a cell is empty; `time_s` ascends."""

    name: str
    columns: dict[str, Series]

    def rows_with(self, *names: str) -> list[Series]:
        """Return these columns, with the rows in which all have a value; RequestError if one is missing."""
        for name in names:
            if name not in self.columns:
                raise RequestError(
                    f"{self.name} line 1: column {name} is missing, needed: {', '.join(names)}"
                )
        full = ~np.any([np.isnan(self.columns[name]) for name in names], axis=0)
        return [self.columns[name][full] for name in names]

    def at_rest(self) -> NDArray[np.bool_]:
        """Return for each row whether nobody pedals and the motor is off, if there are columns for that."""
        rest = np.ones(len(self.columns["time_s"]), dtype=bool)
        for name, above in (("cadence_rpm", 5.0), ("rider_power_w", 5.0), ("current_a", 1.0)):
            if name in self.columns:
                rest &= ~(np.nan_to_num(self.columns[name]) > above)
        return rest


def read_log(path: Path) -> Log:
    """Return the log in a CSV file; RequestError names the line that is wrong."""
    name = spoken(path.name)
    if not path.is_file():
        raise RequestError(f"{spoken(path)}: there is no such file, allowed is a CSV log")
    lines = read_text(path, RIDE_BYTES_MAX).splitlines()
    header = [cell.strip().strip('"') for cell in (lines[0] if lines else "").split(",")]
    if header[0] == RECORD_FIRST:
        return _record(header, lines, name)
    _check_header(header, name)
    rows: list[list[float]] = []
    for cells, place in table_rows(lines, len(header), name):
        rows.append(_row(header, cells, place))
        if len(rows) > 1 and rows[-1][0] <= rows[-2][0]:
            raise RequestError(f"{place}: time_s is {rows[-1][0]:g}, allowed is above {rows[-2][0]:g}")
    return _log(name, header, rows)


def _log(name: str, header: list[str], rows: list[list[float]]) -> Log:
    if len(rows) < 2:
        raise RequestError(f"{name}: it has {len(rows)} rows, allowed is 2 or more")
    table = np.array(rows)
    return Log(name, {column: table[:, place] for place, column in enumerate(header)})


def _record(header: list[str], lines: list[str], name: str) -> Log:
    """Read a record of `treadle watch`; times become seconds of the board's clock since the first row."""
    if RECORD_TIME not in header:
        raise RequestError(
            f"{name} line 1: column {RECORD_TIME} is missing, a record of treadle watch has it"
        )
    known = [place for place, column in enumerate(header) if column in LIMITS]
    names = [header[one] for one in known]
    rows: list[list[float]] = []
    last_us, elapsed_us = -1, 0
    for cells, place in table_rows(lines, len(header), name):
        text = cells[header.index(RECORD_TIME)].strip()
        time_us = int(text) if text.isdecimal() and text.isascii() and len(text) <= 10 else -1
        if not 0 <= time_us <= TICKS_MAX_US:
            raise RequestError(f"{place}: {RECORD_TIME} is {shown(text)}, allowed is 0 to {TICKS_MAX_US}")
        since_us = ticks_diff_us(time_us, last_us) if rows else 0
        if rows and since_us <= 0:
            raise RequestError(
                f"{place}: the board's clock goes back, so it was switched off here; "
                "allowed is a record without that"
            )
        last_us, elapsed_us = time_us, elapsed_us + since_us
        rows.append([elapsed_us * 1e-6, *_row(names, [cells[one] for one in known], place)])
    return _log(name, ["time_s", *names], rows)


def _check_header(header: list[str], name: str) -> None:
    for column in header:
        if column not in LIMITS:
            raise RequestError(
                f"{name} line 1: {shown(column)} is not a known column, {closest(column, list(LIMITS))}"
            )
        if header.count(column) > 1:
            raise RequestError(f"{name} line 1: column {column} appears twice, allowed is once")
    if header[0] != "time_s":
        raise RequestError(f"{name} line 1: the first column is {header[0]}, allowed is time_s")


def _row(header: list[str], cells: list[str], place: str) -> list[float]:
    return [_number(column, cell.strip(), place) for column, cell in zip(header, cells, strict=True)]


def _number(column: str, text: str, place: str) -> float:
    if not text and column != "time_s":
        return float("nan")
    low, high, unit = LIMITS[column]
    try:
        value = float(text)
    except ValueError:
        value = float("nan")
    # Sensors at rest may read slightly below zero because of noise.
    slack = 0.5 if column == "speed_m_per_s" else 5.0 if column == "rider_power_w" else 0.0
    if "_" in text or not low - slack <= value <= high:
        raise RequestError(
            f"{place}: {column} is {shown(text)[1:-1]}, allowed is {low:g} to {high:g} ({unit})"
        )
    return value
