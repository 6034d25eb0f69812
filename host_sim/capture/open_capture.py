"""Opens a capture file of any known format; the content determines the format, not the name."""

import re
import tempfile
from collections.abc import Callable
from pathlib import Path

from host_sim.capture.analog.layout import layout_of
from host_sim.capture.analog.volts_capture import VoltsCapture
from host_sim.capture.choice import named_channels
from host_sim.capture.csv_header import HEAD_BYTES as CSV_HEAD_BYTES
from host_sim.capture.csv_header import UNIT_EXPONENTS
from host_sim.capture.csv_reader import CsvCapture
from host_sim.capture.dump_reader import DumpCapture
from host_sim.capture.edges import Capture
from host_sim.capture.sampled_csv import SampledCsvCapture, samplerate_of
from host_sim.capture.session_reader import SessionCapture
from host_sim.capture.unpacking import GZIP_BEGINS, unpacked
from host_sim.capture.vcd_reader import VcdCapture
from host_sim.errors import RequestError
from host_sim.textfile import open_file, spoken

TIME_UNITS = tuple(UNIT_EXPONENTS)
HEAD_BYTES = 4096
# Files that another program must convert first.
REFUSED = (
    (b"\xfd7zXZ", "it is compressed with xz, allowed is the unpacked file"),
    (b"BZh", "it is compressed with bzip2, allowed is the unpacked file"),
    (b"\xff\xfe", "it is UTF-16 text, allowed is UTF-8"),
    (b"\xfe\xff", "it is UTF-16 text, allowed is UTF-8"),
)
_VCD = re.compile(rb"(?:\xef\xbb\xbf)?\s*\$[a-z]+\s")
_DUMP = re.compile(rb"\s*\{")


def open_capture(
    path: Path,
    channels: tuple[str, ...] | None = None,
    time_unit: str | None = None,
    samplerate_hz: int | None = None,
    done: Callable[[int, int], None] | None = None,
    thresholds_v: tuple[float, float] | None = None,
) -> Capture:
    """Open a capture. `channels` names one or two of its channels, A first; None: the file has only these.

    `time_unit` ("s", "ms", "us", "ns"): of a CSV file's times; None: from its header. `samplerate_hz`: for a
    CSV file with a row for each sample and no times. `thresholds_v`: for a CSV file of volts, low below the
    first, high above the second; None: from its swing. `done` is called with (bytes read, all bytes) for
    progress. RequestError says why the file can't be read, or lists its channels if the choice is not clear.
    """
    named_channels(channels)
    name = spoken(path.name)
    with open_file(path) as file:
        try:
            head = file.read(HEAD_BYTES)
        except OSError as error:
            raise RequestError(f"{spoken(path)}: it can't be read ({error.strerror or error})") from error
    if head.startswith(GZIP_BEGINS):
        folder = tempfile.TemporaryDirectory(prefix="treadle-capture-")
        capture = open_capture(unpacked(path, folder), channels, time_unit, samplerate_hz, done, thresholds_v)
        capture.keeps = folder
        return capture
    if not head.strip():
        raise RequestError(f"{name}: it is empty")
    for beginning, reason in REFUSED:
        if head.startswith(beginning):
            raise RequestError(f"{name}: {reason}")
    if head.startswith(b"PK"):
        return SessionCapture(path, channels, done)
    if _VCD.match(head):
        return VcdCapture(path, channels, done)
    if _DUMP.match(head):
        return DumpCapture(path, channels, done)
    if b"\0" in head.partition(b"\n")[0]:
        raise RequestError(f"{name}: it is neither text nor zip, allowed is a capture file")
    with open_file(path) as file:
        layout = layout_of(file.read(CSV_HEAD_BYTES), path, channels, time_unit, samplerate_hz)
    if layout is not None:
        return VoltsCapture(path, layout, thresholds_v, done)
    rate_hz = samplerate_of(path, samplerate_hz)
    if rate_hz:
        return SampledCsvCapture(path, channels, rate_hz, done)
    if samplerate_hz is not None:
        raise RequestError(
            f"{name}: --samplerate is given, allowed is a CSV file of levels or volts without times"
        )
    return CsvCapture(path, channels, time_unit, done)
