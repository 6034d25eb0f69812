"""Records of a ride from a file that `treadle watch --record` wrote: several frames a second.

It has cadence, speed and battery power; it has no power of the rider, no altitude and no wind.
"""

import math

from host_sim.bench.records_of_ride import LIMITS, RideRecords
from host_sim.errors import RequestError
from host_sim.table_rows import table_rows

FIRST_COLUMN = "received_s"
COLUMNS = {"cadence_rpm": "cadence_rpm", "speed_m_per_s": "speed_m_per_s", "battery_w": "power_w"}


def watch_records(lines: list[str], file_name: str) -> RideRecords:
    """Return the records in the lines of a file; RequestError names the line."""
    header = lines[0].split(",")
    for name in COLUMNS.values():
        if name not in header:
            raise RequestError(
                f"{file_name} line 1: column {name} is missing, allowed is a file of watch --record"
            )
    records = RideRecords()
    for cells, place in table_rows(lines, len(header), file_name):
        _add(records, dict(zip(header, cells, strict=True)), place)
    records.check_not_empty(file_name)
    return records


def _add(records: RideRecords, row: dict[str, str], place: str) -> None:
    elapsed_s = _number("elapsed_s", FIRST_COLUMN, row, place)
    if records.elapsed_s and elapsed_s < records.elapsed_s[-1]:
        raise RequestError(
            f"{place}: {FIRST_COLUMN} is {elapsed_s:g}, allowed is {records.elapsed_s[-1]:g} or more"
        )
    records.add(elapsed_s, {name: _number(name, column, row, place) for name, column in COLUMNS.items()})


def _number(name: str, column: str, row: dict[str, str], place: str) -> float:
    low, high, unit = LIMITS[name]
    try:
        value = float(row[column])
    except ValueError:
        value = math.nan
    # Only the power may be below zero, from an offset of the current; our cadence never is.
    if name == "battery_w" and value < 0.0:
        value = 0.0
    if not low <= value <= high:
        raise RequestError(
            f"{place}: {column} is {row[column][:40]}, allowed is {low:g} to {high:g} ({unit})"
        )
    return value
