"""Writes every frame at once as a row of CSV, so that rows survive however this program ends.

Unlike the results of other commands this file is written in place, so that an interruption loses nothing. A
row is written completely or removed. This folder's README describes the columns.
"""

import contextlib
import csv
import io
import os
from dataclasses import dataclass, fields
from pathlib import Path
from typing import Any

from host_sim.boardlink.frames import Frame
from host_sim.errors import RequestError
from host_sim.textfile import spoken

DECIMALS = 6  # Microseconds for times; for volts and the like, more than the board sends.


class RecordingFailed(Exception):
    """The file can no longer be written; the message is one sentence."""


@dataclass(frozen=True, slots=True)
class Reception:
    """How a frame arrived: seconds since the start, number of the connection, frames lost before it.

    `lost_numbers`: the numbers of the lost frames, as "17" or "254 to 1"; empty if there are none.
    """

    received_s: float
    connection: int
    lost: int
    lost_numbers: str


COLUMNS = tuple(field.name for record in (Reception, Frame) for field in fields(record))


class RecordFile:
    """An open record; `frames` is the number of rows written. Use it in a `with`."""

    def __init__(self, path: Path, force: bool) -> None:
        """Open the file; RequestError says why it can't be written.

        An existing file is refused, or with `force` emptied when the first frame arrives.
        """
        self.path = path
        self.frames = 0
        self._size = 0
        name = spoken(path)
        try:
            self._ours = not path.exists()
            if path.exists() and not path.is_file():
                raise RequestError(f"{name} is not a regular file, allowed is another --record")
            if path.exists() and not force:
                raise RequestError(f"{name} exists already, allowed is another --record, or --force")
            flags = os.O_WRONLY | os.O_CREAT | (0 if force else os.O_EXCL) | getattr(os, "O_BINARY", 0)
            self._file = os.open(path, flags, 0o666)
        except (OSError, ValueError) as error:
            reason = getattr(error, "strerror", None) or "no possible file name"
            raise RequestError(f"{name} can't be written, allowed is another --record: {reason}") from None

    def write(self, frame: Frame, reception: Reception) -> None:
        """Append a row; RecordingFailed if that fails: then the file has the rows before it."""
        try:
            if self.frames == 0:
                os.ftruncate(self._file, 0)
                self._append(",".join(COLUMNS) + "\n")
            self._append(_row(frame, reception))
        except OSError as error:
            with contextlib.suppress(OSError):
                os.ftruncate(self._file, self._size)
            raise RecordingFailed(
                f"{spoken(self.path)} can't be written any more ({error.strerror or error}): it has the "
                f"{self.frames} frames before that"
            ) from None
        self.frames += 1

    def _append(self, text: str) -> None:
        row = text.encode("utf-8")
        written = 0
        while written < len(row):
            written += os.write(self._file, row[written:])
        self._size += len(row)

    def __enter__(self) -> "RecordFile":
        return self

    def __exit__(self, *_: object) -> None:
        """Close the file; remove it if it was created and is empty."""
        os.close(self._file)
        if self.frames == 0 and self._ours:
            with contextlib.suppress(OSError):
                self.path.unlink()


def _row(frame: Frame, reception: Reception) -> str:
    values = [getattr(record, field.name) for record in (reception, frame) for field in fields(record)]
    line = io.StringIO()
    csv.writer(line, lineterminator="\n").writerow([_cell(value) for value in values])
    return line.getvalue()


def _cell(value: Any) -> str:
    if isinstance(value, bool):
        return "1" if value else "0"
    if isinstance(value, tuple):
        return "".join(str(levels) for levels in value)
    if isinstance(value, float):
        return f"{value:.{DECIMALS}f}".rstrip("0").rstrip(".")
    return str(value)
