"""Reads CSV captures: a column of times, one or two columns of levels, in samples or only at changes."""

from collections.abc import Iterator
from pathlib import Path

import numpy as np

from host_sim.capture.blocks import Done, whole_pieces
from host_sim.capture.csv_header import HEAD_BYTES, read_csv_header
from host_sim.capture.csv_rows import Rows, read_rows
from host_sim.capture.decimals import Bytes
from host_sim.capture.edges import Capture, Damage, Levels, Times, ascending
from host_sim.textfile import open_file


class CsvCapture(Capture):
    """A CSV file. x and z are not levels: the channel keeps its previous level."""

    form = "CSV"

    def __init__(
        self, path: Path, channels: tuple[str, ...] | None, time_unit: str | None, done: Done | None
    ) -> None:
        """Read the names of the columns, or the beginning of the first row if there are none."""
        with open_file(path) as file:
            self._header = read_csv_header(file.read(HEAD_BYTES), path, channels, time_unit)
        self._done = done
        super().__init__(path, self._header.names)

    def _samples(self) -> Iterator[tuple[Times, Levels]]:
        line = self._header.lines + 1
        before_ns: int | None = None
        filling = [_Filling(channel) for channel in range(len(self._header.columns))]
        with open_file(self.path) as file:
            bytes_all = self.path.stat().st_size
            file.seek(self._header.data_begin)
            for piece in whole_pieces(file, (b"\n",), bytes_all, self._done):
                text = piece if piece.endswith(b"\n") else piece + b"\n"
                rows = read_rows(text, self._header)
                end = ascending(rows.times_ns, before_ns)
                if end:
                    before_ns = int(rows.times_ns[end - 1])
                    self._last_ns = before_ns
                    self.unknown_values += int(np.unpackbits(rows.unknown[:end]).sum())
                    yield rows.times_ns[:end], _filled(rows, end, filling)
                if end < len(rows.times_ns):
                    wrong = "the time is earlier than that of the row before it"
                    raise Damage(f"line {line + int(rows.lines[end])}: {wrong}; what follows is not read")
                if rows.wrong:
                    raise Damage(f"line {line + rows.wrong_line}: {rows.wrong}; what follows is not read")
                line += text.count(b"\n")


def _filled(rows: Rows, end: int, filling: list["_Filling"]) -> Levels:
    """Return the levels; where there is none, the channel keeps its previous level."""
    levels = rows.levels[:end].copy()
    for one in filling:
        one.fill(levels, rows.unknown[:end])
    return levels


class _Filling:
    """Fills in a channel's previous level in rows without a level."""

    def __init__(self, channel: int) -> None:
        self._bit = np.uint8(1 << channel)
        self._last = np.uint8(0)

    def fill(self, levels: Bytes, unknown: Bytes) -> None:
        """Change the channel's bit in `levels` wherever it is set in `unknown`."""
        holes = (unknown & self._bit) != 0
        if holes.any():
            bits = np.concatenate((np.array([self._last], np.uint8), levels & self._bit))
            known = np.where(holes, 0, np.arange(1, len(levels) + 1))
            levels &= ~self._bit
            levels |= bits[np.maximum.accumulate(known)]
        self._last = levels[-1] & self._bit
