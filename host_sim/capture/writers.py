"""Writes crank edges to a capture file as they come: VCD (IEEE 1364) or CSV, by the file's suffix."""

from pathlib import Path
from typing import Protocol, TextIO

from vcd.writer import VCDWriter

from host_sim.capture.edges import CHANNEL_A, CHANNEL_B
from host_sim.errors import RequestError
from host_sim.textfile import spoken

SUFFIXES = (".vcd", ".csv")
CHANNEL_NAMES = ("channel_a", "channel_b")
US_PER_S = 1_000_000
COMMENT = "Levels of the crank's pedal sensor at the controller's pins, from treadle ride"


def refuse_suffix(path: Path, option: str) -> None:
    """Raise RequestError if `path` does not have the suffix of a format that can be written."""
    if path.suffix.lower() not in SUFFIXES:
        raise RequestError(f"{option} is {spoken(path)}, allowed is a name that ends in .vcd or .csv")


class _Form(Protocol):
    def put(self, time_us: int, levels: int) -> None: ...

    def end(self, time_us: int, levels: int) -> None: ...


class CaptureWriter:
    """Takes edges in order of time and writes those that change a level.

    Of several edges in one microsecond the last one counts, as when a file is read.
    """

    def __init__(self, file: TextIO, suffix: str, levels: int, channels: int = 2) -> None:
        """Begin with `levels` at time 0 (bit 0 channel A, bit 1 channel B); `channels` is 1 or 2."""
        self._mask = CHANNEL_A | CHANNEL_B if channels == 2 else CHANNEL_A
        self._written = self._held = levels & self._mask
        self._held_us = 0
        names = CHANNEL_NAMES[:channels]
        form = _Vcd if suffix.lower() == ".vcd" else _Csv
        self._form: _Form = form(file, names, self._held)

    def edge(self, time_us: int, levels: int) -> None:
        """Take an edge: the time since the start and the levels after it."""
        if time_us != self._held_us:
            self._put_held()
        self._held_us = time_us
        self._held = levels & self._mask

    def end(self, time_us: int) -> None:
        """Write the last edge and the end of the recording, `time_us`, or that of the last edge if later."""
        self._put_held()
        self._form.end(max(time_us, self._held_us), self._written)

    def _put_held(self) -> None:
        if self._held != self._written:
            self._written = self._held
            self._form.put(self._held_us, self._held)


class _Vcd:
    """A VCD file without a date, so that the same ride always gives the same file."""

    def __init__(self, file: TextIO, names: tuple[str, ...], levels: int) -> None:
        self._writer = VCDWriter(file, timescale="1 us", date="", comment=COMMENT, check_values=False)
        self._variables = [
            self._writer.register_var("pedal_sensor", name, "wire", size=1, init=levels >> place & 1)
            for place, name in enumerate(names)
        ]

    def put(self, time_us: int, levels: int) -> None:
        for place, variable in enumerate(self._variables):
            self._writer.change(variable, time_us, levels >> place & 1)

    def end(self, time_us: int, levels: int) -> None:
        self._writer.close(time_us)


class _Csv:
    """A CSV file with a row for each change, the levels from then on; the last row is the end."""

    def __init__(self, file: TextIO, names: tuple[str, ...], levels: int) -> None:
        self._file = file
        self._places = range(len(names))
        file.write(",".join(("time_s", *names)) + "\n")
        self.put(0, levels)

    def put(self, time_us: int, levels: int) -> None:
        row = "".join(f",{levels >> place & 1}" for place in self._places)
        self._file.write(f"{time_us // US_PER_S}.{time_us % US_PER_S:06}{row}\n")

    def end(self, time_us: int, levels: int) -> None:
        self.put(time_us, levels)
