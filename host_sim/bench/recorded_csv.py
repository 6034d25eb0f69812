"""Records of a ride from a CSV file with column names in the first line."""

import math
from pathlib import Path

from host_sim.bench.recorded_watch import FIRST_COLUMN, watch_records
from host_sim.bench.records_of_ride import COLUMNS, LIMITS, REQUIRED, RideRecords
from host_sim.errors import RequestError
from host_sim.refusals import closest, shown
from host_sim.table_rows import table_rows
from host_sim.textfile import RIDE_BYTES_MAX, read_text, spoken


def read_csv(path: Path) -> RideRecords:
    """Return the records of a CSV file; an empty cell is None. A fault raises RequestError with its line."""
    file_name = spoken(path.name)
    lines = read_text(path, RIDE_BYTES_MAX).splitlines()
    if not lines or not lines[0].strip():
        raise RequestError(f"{file_name} line 1: it is empty, allowed is the header {','.join(COLUMNS)}")
    if lines[0].startswith(f"{FIRST_COLUMN},"):
        return watch_records(lines, file_name)
    header = _header(lines[0], file_name)
    records = RideRecords()
    for cells, place in table_rows(lines, len(header), file_name):
        _add(records, header, cells, place)
    records.check_not_empty(file_name)
    return records


def _header(line: str, file_name: str) -> list[str]:
    """Return the column names, each known and none twice."""
    names = [name.strip().strip('"') for name in line.split(",")]
    for name in names:
        if name not in COLUMNS:
            raise RequestError(
                f"{file_name} line 1: {shown(name)} is not a known column, {closest(name, list(COLUMNS))}"
            )
        if names.count(name) > 1:
            raise RequestError(f"{file_name} line 1: column {name} appears twice, allowed is once")
    # With a speed the rest can be estimated.
    for name in REQUIRED[:1] if "speed_m_per_s" in names else REQUIRED:
        if name not in names:
            raise RequestError(
                f"{file_name} line 1: column {name} is missing, needed are {', '.join(REQUIRED)}"
            )
    return names


def _add(records: RideRecords, header: list[str], cells: list[str], place: str) -> None:
    values = {name: _number(name, cell, place) for name, cell in zip(header, cells, strict=True)}
    elapsed_s = values["elapsed_s"]
    if elapsed_s is None:
        raise RequestError(f"{place}: elapsed_s is empty, allowed is a number of seconds")
    if records.elapsed_s and elapsed_s <= records.elapsed_s[-1]:
        raise RequestError(
            f"{place}: elapsed_s is {elapsed_s:g}, allowed is above {records.elapsed_s[-1]:g}, the one before"
        )
    records.add(elapsed_s, values)


def _number(name: str, cell: str, place: str) -> float | None:
    """Return the number in a cell, None for an empty one, RequestError outside the limits of plausibility."""
    text = cell.strip()
    if not text:
        return None
    low, high, unit = LIMITS[name]
    try:
        value = float(text)
    except ValueError:
        value = math.nan
    # float() also reads "1_000", which no recorder writes.
    if "_" in text or not low <= value <= high:
        raise RequestError(f"{place}: {name} is {shown(text)[1:-1]}, allowed is {low:g} to {high:g} ({unit})")
    return value
