"""How fast capture files are read, and how flat the memory stays: by size, side by side.

`uv run python -m tests.benchmarks.capture_reading [MEGABYTES ...]`; 10 and 100 if none are given.
Time is that of the processor, so that other work on the machine counts little. No test: a number of this kind
belongs to a machine.
"""

import multiprocessing
import resource
import sys
import tempfile
import time
import zipfile
from collections.abc import Callable, Iterator
from multiprocessing.connection import Connection
from pathlib import Path

import numpy as np
from vcd.reader import tokenize

from host_sim.capture.edges import Levels, Times
from host_sim.capture.open_capture import open_capture
from tests.capture_files.making import METADATA, VCD_HEADER

SIZES_MB = (10, 100)
BYTES_PER_MB = 1_000_000
LIBRARY_MB = 10  # The library reads word by word in Python: that is all it is asked for.
LEVELS = (1, 3, 2, 0)
EDGES_AT_ONCE = 100_000
TIME_DIGITS = 12


def write_vcd(path: Path, size_mb: int) -> None:
    """Write edges a few milliseconds apart."""
    values = np.frombuffer(b'\n1!\n\n1"\n\n0!\n\n0"\n', np.uint8).reshape(4, 4)
    with path.open("wb") as file:
        file.write((VCD_HEADER + '#0\n0!\n0"\n').encode())
        for times_us in _times(file.tell, size_mb):
            count = len(times_us)
            mark = np.full((count, 1), ord("#"), np.uint8)
            file.write(np.hstack((mark, _digits(times_us), np.tile(values, (count // 4, 1)))).tobytes())


def write_csv(path: Path, size_mb: int) -> None:
    """Write a row for each of such edges, in seconds."""
    values = np.frombuffer(b",1,0\n,1,1\n,0,1\n,0,0\n", np.uint8).reshape(4, 5)
    with path.open("wb") as file:
        file.write(b"time_s,A,B\n")
        for times_us in _times(file.tell, size_mb):
            digits = np.insert(_digits(times_us), TIME_DIGITS - 6, ord("."), axis=1)
            file.write(np.hstack((digits, np.tile(values, (len(times_us) // 4, 1)))).tobytes())


def write_session(path: Path, size_mb: int) -> None:
    """Write samples at 24 MHz, packed: the size is that of the samples."""
    generator = np.random.default_rng(1)
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as archive:
        archive.writestr("version", "2")
        archive.writestr("metadata", METADATA.replace("1 kHz", "24 MHz"))
        for number in range(1, size_mb // 5 + 1):
            lasting = generator.integers(12_000, 480_000, 400)
            samples = np.repeat(np.resize(LEVELS, 400).astype(np.uint8), lasting)[: 5 * BYTES_PER_MB]
            archive.writestr(f"logic-1-{number}", samples.tobytes())


def read_here(path: Path) -> int:
    """Read a capture with the project's reader; return how many edges it has."""
    return sum(len(chunk.times_ns) for chunk in open_capture(path).chunks())


def read_library(path: Path) -> int:
    """Read a VCD file with pyvcd's tokenizer; return how many words it has."""
    with path.open("rb") as file:
        return sum(1 for _ in tokenize(file))


def measure(read: Callable[[Path], int], path: Path) -> tuple[int, float, float]:
    """Return edges, seconds of one core and peak memory in MB of a fresh process that reads a file."""
    context = multiprocessing.get_context("spawn")
    receiver, sender = context.Pipe(duplex=False)
    child = context.Process(target=_child, args=(read, path, sender))
    child.start()
    result: tuple[int, float, float] = receiver.recv()
    child.join()
    return result


def main() -> None:
    """Print one line for each format and size."""
    sizes_mb = [int(text) for text in sys.argv[1:]] or list(SIZES_MB)
    print(f"{'format':<14}{'MB':>6}{'edges':>12}{'CPU s':>8}{'MB/s':>8}{'peak memory, MB':>18}")
    with tempfile.TemporaryDirectory() as folder:
        for name, write in (("VCD", write_vcd), ("CSV", write_csv), ("session file", write_session)):
            for size_mb in sizes_mb:
                path = Path(folder) / "capture"
                write(path, size_mb)
                _print(name, size_mb, measure(read_here, path))
                if write is write_vcd and size_mb == LIBRARY_MB:
                    _print("VCD, pyvcd", size_mb, measure(read_library, path))
                path.unlink()


def _times(tell: Callable[[], int], size_mb: int) -> Iterator[Times]:
    """Give times of edges in us until the file is long enough."""
    generator = np.random.default_rng(1)
    last_us = 10 ** (TIME_DIGITS - 1)  # All of them have as many digits.
    while tell() < size_mb * BYTES_PER_MB:
        times_us = last_us + np.cumsum(generator.integers(500, 20_000, EDGES_AT_ONCE))
        last_us = int(times_us[-1])
        yield times_us


def _digits(times_us: Times) -> Levels:
    powers = 10 ** np.arange(TIME_DIGITS - 1, -1, -1, dtype=np.int64)
    return (times_us[:, None] // powers % 10 + ord("0")).astype(np.uint8)


def _child(read: Callable[[Path], int], path: Path, sender: Connection) -> None:
    began_s = time.process_time()
    count = read(path)
    seconds = time.process_time() - began_s
    sender.send((count, seconds, _peak_mb()))


def _peak_mb() -> float:
    """Return the most memory that this process held. What getrusage says begins with the parent's."""
    status = Path("/proc/self/status")
    if status.exists():
        (peak,) = [line for line in status.read_text().splitlines() if line.startswith("VmHWM:")]
        return int(peak.split()[1]) / 1000
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1000


def _print(name: str, size_mb: int, measured: tuple[int, float, float]) -> None:
    edges, seconds, peak_mb = measured
    print(
        f"{name:<14}{size_mb:>6}{edges:>12}{seconds:>8.1f}{size_mb / seconds:>8.1f}{peak_mb:>18.0f}",
        flush=True,
    )


if __name__ == "__main__":
    main()
