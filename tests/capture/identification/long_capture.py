"""`python -m tests.capture.identification.long_capture MEGABYTES FILE.vcd`: one to measure with.

A ring of 24 magnets, up to 4 % of a pitch out of place, two channels, turned evenly at 60 rpm.
"""

import sys
from pathlib import Path
from random import Random

from host_sim.capture.writers import CaptureWriter

PULSES = 24
PITCH_US = 41_667
LEVELS = (1, 3, 2, 0)
EDGES_BETWEEN_LOOKS = 4000


def write_long(path: Path, size_bytes: int) -> int:
    """Write a capture of at least `size_bytes`, and return how many edges it has."""
    random = Random(1)
    places = [random.uniform(-0.04, 0.04) for _ in range(PULSES)]
    edges = time_us = 0
    with path.open("w", encoding="ascii") as file:
        writer = CaptureWriter(file, path.suffix, 0)
        while edges % EDGES_BETWEEN_LOOKS or file.tell() < size_bytes:
            magnet, quarter = divmod(edges, 4)
            time_us = round(PITCH_US * (1.0 + magnet + places[magnet % PULSES] + 0.25 * quarter))
            writer.edge(time_us, LEVELS[quarter])
            edges += 1
        writer.end(time_us)
    return edges


if __name__ == "__main__":
    sys.stdout.write(f"{write_long(Path(sys.argv[2]), int(float(sys.argv[1]) * 1e6))} edges\n")
