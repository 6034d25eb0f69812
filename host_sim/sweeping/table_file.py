"""The table of a sweep on disk: rows are stored as they come, the finished file appears complete.

While a sweep runs, its rows are in `FILE.unfinished`: the request in the first line, then CSV, point after
point without a gap. If the program is killed, at most a partial last line remains, which is ridden again. At
the end the rows become FILE: CSV (RFC 4180), or Apache Parquet in row groups if the name ends in .parquet.
There each column has its unit and description in its own metadata (`unit`, `description`) and, for readers
that show only the file's, as JSON under `units`.
"""

import contextlib
import csv
import json
import os
from collections.abc import Iterator
from importlib.util import find_spec
from itertools import islice
from pathlib import Path
from typing import Any, TextIO

from host_sim.errors import RequestError
from host_sim.outputs import locked
from host_sim.textfile import spoken

Units = dict[str, tuple[str, str]]
"""Unit and sentence of a column, by its name."""

SUFFIXES = (".csv", ".parquet")
ROWS_IN_GROUP = 20_000
PARQUET_MISSING = (
    "a .parquet file needs pyarrow, which is not installed, get it with: "
    "uv run --extra sweep treadle sweep, or give --out with a name that ends in .csv"
)


def check_name(path: Path) -> None:
    """Raise RequestError unless the ending of `path` is known and its library is installed."""
    if path.suffix not in SUFFIXES:
        raise RequestError(f"--out is {spoken(path)}, allowed is a name that ends in .csv or .parquet")
    if path.suffix == ".parquet" and find_spec("pyarrow") is None:
        raise RequestError(PARQUET_MISSING)


class Unfinished:
    """The rows of an unfinished sweep. Read: `path`, `rows` (their number)."""

    def __init__(self, table: Path, request: dict[str, Any], columns: list[str], force: bool) -> None:
        """Continue the unfinished file of `table`, or begin one; RequestError if it is another sweep's.

        With `force` another sweep's rows are deleted.
        """
        self.path = table.with_name(table.name + ".unfinished")
        self.rows = 0
        self._columns = columns
        head = (json.dumps(request, sort_keys=True) + "\n" + ",".join(columns) + "\n").encode()
        try:
            table.parent.mkdir(exist_ok=True)
            self._hold(table)
            kept = self._kept(head, force)
            with self.path.open("r+b" if kept else "wb") as file:
                if kept:
                    file.truncate(kept)
                else:
                    file.write(head)
            self._file: TextIO = self.path.open("a", encoding="utf-8", newline="\n")
        except OSError as error:
            raise RequestError(_cannot_write(table, error)) from None
        except RequestError:
            self._held.close()
            raise

    def _hold(self, table: Path) -> None:
        """Lock the table for this program; RequestError if another one is writing it."""
        self._held: TextIO = self.path.open("a", encoding="utf-8")
        if not locked(self._held):
            self._held.close()
            raise RequestError(
                f"{spoken(table)} is being written by another run, allowed is another --out, or to wait "
                f"until it ends"
            )

    def _kept(self, head: bytes, force: bool) -> int:
        """Return how many bytes of the file are valid, 0 to start over; sets `rows`, their number of rows."""
        if not self.path.exists():
            return 0
        length = 0
        with self.path.open("rb") as file:
            found = file.read(len(head))
            if found != head:
                if force or head.startswith(found):  # The run ended before its first row.
                    return 0
                raise RequestError(
                    f"{spoken(self.path)} holds the rows of another sweep, allowed is the command that began "
                    "it, another --out, or --force to delete them"
                )
            for line in file:
                if not line.endswith(b"\n"):
                    break
                self.rows += 1
                length += len(line)
        return len(head) + length

    def add(self, lines: list[str]) -> None:
        """Store the rows of the next points, in order."""
        try:
            self._file.write("".join(lines))
            self._file.flush()
        except OSError as error:
            raise RequestError(_cannot_write(self.path, error)) from None
        self.rows += len(lines)

    def close(self) -> None:
        """Close the file and leave it where it is."""
        with contextlib.suppress(OSError):
            self._file.close()
            self._held.close()

    def read(self) -> Iterator[dict[str, str]]:
        """Yield every row stored so far, by column."""
        with self.path.open(encoding="utf-8", newline="") as file:
            file.readline()
            yield from csv.DictReader(file)

    def write_table(self, path: Path, points: int | None = None, units: Units | None = None) -> None:
        """Write the first `points` rows to `path`, as its name says; all of them unless that is given."""
        if path.suffix == ".csv":
            with self.path.open("rb") as rows, path.open("wb") as table:
                rows.readline()
                for number, line in enumerate(rows):
                    if points is not None and number > points:  # Line 0 has the names of the columns.
                        break
                    table.write(line)
        else:
            self._write_parquet(path, points, units or {})

    def _write_parquet(self, path: Path, points: int | None, units: Units) -> None:
        import pyarrow as pa
        import pyarrow.parquet as pq

        schema = _schema(pa, self._columns, units)
        with pq.ParquetWriter(path, schema) as writer:
            group: list[dict[str, Any]] = []
            for row in islice(self.read(), points):
                group.append({name: _value(name, text) for name, text in row.items()})
                if len(group) == ROWS_IN_GROUP:
                    writer.write_table(pa.Table.from_pylist(group, schema))
                    group = []
            if group:
                writer.write_table(pa.Table.from_pylist(group, schema))

    def forget(self) -> None:
        """Remove the unfinished file: its rows are in the table now."""
        os.unlink(self.path)


def _schema(pa: Any, columns: list[str], units: Units) -> Any:
    """Return the columns of a Parquet table with their types, units and descriptions."""
    kinds = {"number": pa.int64(), "reason": pa.string()}
    fields = []
    for name in columns:
        unit, sentence = units.get(name, ("", ""))
        fields.append(
            pa.field(name, kinds.get(name, pa.float64()), metadata={"unit": unit, "description": sentence})
        )
    told = json.dumps({name: unit for name, (unit, _) in units.items()}, ensure_ascii=False)
    return pa.schema(fields, metadata={"units": told})


def _value(name: str, text: str) -> int | float | str | None:
    if text == "":
        return None
    if name == "reason":
        return text
    return int(text) if name == "number" else float(text)


def _cannot_write(path: Path, error: OSError) -> str:
    return f"{spoken(path)} can't be written, allowed is another --out: {error.strerror or error}"
