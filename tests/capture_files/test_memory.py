"""Reading a file takes the same memory however long it is."""

import tracemalloc
import zipfile
from pathlib import Path

import pytest

from host_sim.capture import blocks, session_reader
from host_sim.capture.open_capture import open_capture
from tests.capture_files.making import METADATA, SAMPLES, VCD_HEADER

BLOCK_BYTES = 1 << 14


def _vcd(path: Path, turns: int) -> None:
    parts = [VCD_HEADER]
    for turn in range(turns):
        parts += (f'#{turn * 4000}\n1!\n#{turn * 4000 + 1000}\n1"\n', f"#{turn * 4000 + 2000}\n0!\n")
        parts += (f'#{turn * 4000 + 3000}\n0"\n',)
    path.write_text("".join(parts), encoding="utf-8")


def _csv(path: Path, turns: int) -> None:
    rows = (
        f"{turn * 4 + phase},{levels & 1},{levels >> 1}\n"
        for turn in range(turns)
        for phase, levels in enumerate((0, 1, 3, 2))
    )
    path.write_text("time_ms,A,B\n" + "".join(rows), encoding="utf-8")


def _session(path: Path, turns: int) -> None:
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as archive:
        archive.writestr("version", "2")
        archive.writestr("metadata", METADATA)
        archive.writestr("logic-1-1", SAMPLES[:40] * turns)


def _peak_bytes(path: Path) -> tuple[int, int]:
    """Return how many edges a file has, and the most memory that reading it took."""
    tracemalloc.start()
    edges = sum(len(chunk.times_ns) for chunk in open_capture(path).chunks())
    peak_bytes = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    return edges, peak_bytes


@pytest.mark.parametrize("make", [_vcd, _csv, _session])
def test_ten_times_the_file_takes_no_more_memory(tmp_path, monkeypatch, make):
    monkeypatch.setattr(blocks, "BLOCK_BYTES", BLOCK_BYTES)
    monkeypatch.setattr(session_reader, "BLOCK_BYTES", BLOCK_BYTES)
    short, long = tmp_path / "short", tmp_path / "long"
    make(short, 3_000)
    make(long, 30_000)
    edges, short_peak_bytes = _peak_bytes(short)
    assert 12_000 <= edges + 1 <= 12_001
    edges, long_peak_bytes = _peak_bytes(long)
    assert 120_000 <= edges + 1 <= 120_001
    assert long_peak_bytes < 1.2 * short_peak_bytes
    assert long_peak_bytes < 4_000_000
