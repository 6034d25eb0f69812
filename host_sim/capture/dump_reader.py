"""Reads a board's edge dump: the console's answers to {"request": "edges"}, one JSON object per line."""

import json
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import numpy as np

from firmware.ticks import TICKS_MAX_US, ticks_diff_us
from host_sim.capture.blocks import Done, shown, whole_pieces
from host_sim.capture.choice import choose
from host_sim.capture.edges import Capture, Damage, Levels, Times
from host_sim.textfile import open_file, spoken

CHANNEL_NAMES = ["A", "B"]
NS_PER_US = 1000


class DumpCapture(Capture):
    """A board's last edges. Its clock wraps every 17.9 minutes, so gaps above half of that are ambiguous."""

    form = "board dump"

    def __init__(self, path: Path, channels: tuple[str, ...] | None, done: Done | None) -> None:
        """Choose the channels; None: A and B."""
        places = choose(CHANNEL_NAMES, channels, spoken(path.name))
        self._places = places
        self._done = done
        super().__init__(path, tuple(CHANNEL_NAMES[place] for place in places))

    def _samples(self) -> Iterator[tuple[Times, Levels]]:
        dump = _Dump()
        with open_file(self.path) as file:
            bytes_all = self.path.stat().st_size
            for piece in whole_pieces(file, (b"\n",), bytes_all, self._done):
                for line in piece.split(b"\n")[: None if not piece.endswith(b"\n") else -1]:
                    wrong = dump.take(line)
                    if dump.times_ns:
                        self._last_ns = dump.times_ns[-1]
                        yield self._edges(dump)
                    if wrong:
                        raise Damage(f"line {dump.line}: {wrong}; what follows is not read")
        if dump.left:
            raise Damage(f"line {dump.line}: the dump is cut off here, {dump.left} edges of it are missing")

    def _edges(self, dump: "_Dump") -> tuple[Times, Levels]:
        times_ns = np.array(dump.times_ns, np.int64)
        read = np.array(dump.levels, np.uint8)
        levels = np.zeros(len(read), np.uint8)
        for channel, place in enumerate(self._places):
            levels |= (read >> np.uint8(place) & np.uint8(1)) << np.uint8(channel)
        return times_ns, levels


class _Dump:
    """Processes a dump's lines. Public: `line`, `left`, and `times_ns` and `levels` of the last line."""

    def __init__(self) -> None:
        self.line = 0
        self.left = 0
        self.times_ns: list[int] = []
        self.levels: list[int] = []
        self._ended = False
        self._last_us: int | None = None
        self._elapsed_us = 0

    def take(self, line: bytes) -> str:
        """Process a line; return what is wrong with it, "" if nothing."""
        self.line += 1
        self.times_ns = []
        self.levels = []
        if not line.strip():
            return ""
        try:
            answer = json.loads(line)
        except (ValueError, RecursionError):
            answer = None
        if not isinstance(answer, dict) or answer.get("ok") != "edges":
            return f"{shown(line.strip())} is not a line of an edge dump"
        if self._ended:
            return "a second dump begins here"
        edges = answer.get("edges")
        if not isinstance(edges, list):
            return "its 'edges' are not a list"
        for edge in edges:
            wrong = self._take_edge(edge)
            if wrong:
                return wrong
        left = answer.get("left", 0)
        if not _is_whole(left, 0, 1 << 30):
            return f"its 'left' is {shown(json.dumps(left).encode())}, allowed is a whole number"
        self.left = left
        self._ended = left == 0
        return ""

    def _take_edge(self, edge: Any) -> str:
        said = shown(json.dumps(edge).encode())
        if not isinstance(edge, list) or len(edge) != 2:
            return f"{said} is not an edge, allowed is [levels, time_us]"
        levels, time_us = edge
        if not _is_whole(levels, 0, 3) or not _is_whole(time_us, 0, TICKS_MAX_US):
            return (
                f"{said} is not an edge, allowed is a level from 0 to 3 and a time from 0 to "
                f"{TICKS_MAX_US} us"
            )
        if self._last_us is not None:
            gap_us = ticks_diff_us(time_us, self._last_us)
            if gap_us < 0:
                return f"the time of {said} is earlier than that of the edge before it"
            self._elapsed_us += gap_us
        self._last_us = time_us
        self.times_ns.append(self._elapsed_us * NS_PER_US)
        self.levels.append(levels)
        return ""


def _is_whole(value: Any, lowest: int, highest: int) -> bool:
    return isinstance(value, int) and not isinstance(value, bool) and lowest <= value <= highest
