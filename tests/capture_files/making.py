"""Makes capture files of known content, and reads captures whole."""

import zipfile
from collections.abc import Sequence
from pathlib import Path

import numpy as np

from host_sim.capture.edges import Capture
from host_sim.capture.open_capture import open_capture

Edge = tuple[int, int]

# Four edges of a crank that turns forward, as (time in ns, levels).
FORWARD = [(0, 0), (10_000_000, 1), (20_000_000, 3), (30_000_000, 2), (40_000_000, 0)]

VCD_HEADER = """$timescale 1 us $end
$scope module bicycle $end
$var wire 1 ! A $end
$var wire 1 " B $end
$upscope $end
$enddefinitions $end
"""
VCD = VCD_HEADER + '#0\n$dumpvars\n0!\n0"\n$end\n#10000\n1!\n#20000\n1"\n#30000\n0!\n#40000\n0"\n'
CSV = "time_ms,A,B\n0,0,0\n10,1,0\n20,1,1\n30,0,1\n40,0,0\n"
METADATA = """[global]
sigrok version=0.5.2

[device 1]
capturefile=logic-1
total probes=2
samplerate=1 kHz
total analog=0
probe1=A
probe2=B
unitsize=1
"""
SAMPLES = bytes([0] * 10 + [1] * 10 + [3] * 10 + [2] * 10 + [0])
DUMP = (
    '{"ok": "edges", "edges": [[0, 1073731824], [1, 0], [3, 10000]], "left": 2}\n'
    '{"ok": "edges", "edges": [[2, 20000], [0, 30000]], "left": 0}\n'
)


def written(folder: Path, content: str | bytes, name: str = "capture") -> Path:
    """Write a file of this content."""
    path = folder / name
    path.write_bytes(content if isinstance(content, bytes) else content.encode())
    return path


def session(
    folder: Path,
    samples: Sequence[bytes] = (SAMPLES,),
    metadata: str = METADATA,
    version: str = "2",
    numbers: Sequence[int] | None = None,
) -> Path:
    """Write a session file whose samples come in several pieces."""
    path = folder / "capture"
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as archive:
        archive.writestr("version", version)
        archive.writestr("metadata", metadata)
        for number, piece in zip(numbers or range(1, len(samples) + 1), samples, strict=True):
            archive.writestr(f"logic-1-{number}", piece)
    return path


def edges_of(capture: Capture) -> list[Edge]:
    """Return all edges as (time in ns, levels)."""
    found: list[Edge] = []
    for chunk in capture.chunks():
        assert chunk.times_ns.dtype == np.int64
        assert chunk.levels.dtype == np.uint8
        assert len(chunk.times_ns) == len(chunk.levels) > 0
        found += zip(chunk.times_ns.tolist(), chunk.levels.tolist(), strict=True)
    return found


def read(path: Path, channels: tuple[str, ...] | None = None, time_unit: str | None = None) -> list[Edge]:
    """Open a capture that has no damage and return its edges."""
    capture = open_capture(path, channels, time_unit)
    found = edges_of(capture)
    assert capture.damage == ""
    return found
