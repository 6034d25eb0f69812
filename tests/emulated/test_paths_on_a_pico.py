"""The calls of the proofs' path vectors on the emulated Pico: every state and result as predicted.

All of them take some minutes of the emulator and are marked slow; one in forty is tried always.
"""

from pathlib import Path

import pytest

from host_sim.boardlink.bytecode import compiled
from host_sim.forms.program import read_firmware
from tests.emulated.measured import files_of
from tests.emulated.pico import emulate, why_missing
from tests.forms.fused_entries import entries_of
from tests.forms.fused_forms import HERE
from tests.forms.path_calls import PathCalls
from tests.runtime.path_vectors import place_vectors
from tests.runtime.path_vectors import why_missing as why_no_vectors

WHY = why_missing() or why_no_vectors()
pytestmark = [pytest.mark.skipif(bool(WHY), reason=WHY), pytest.mark.xdist_group("proof")]
PARTS = 4  # What fits into the file system of a Pico.
START = b"""
import gc
gc.threshold(16384)
import fused_controller, fused_entries, path_replay
gc.collect()
print("totals", path_replay.told(path_replay.PathReplay(fused_controller, fused_entries, "calls")), "end")
"""


@pytest.fixture(scope="module")
def paths(tmp_path_factory) -> PathCalls:
    return PathCalls(read_firmware(), place_vectors(tmp_path_factory.mktemp("vectors")))


def on_a_pico(paths: PathCalls, first: int, step: int, folder: Path) -> tuple[int, str]:
    """Make every `step`-th call from `first` on; return how many, and the line of totals."""
    calls = paths.fewer(100, 100)[first::step]
    made = entries_of(read_firmware(), paths, wide=False, calls=calls)
    sources = {
        "fused_controller.py": made.fused.encode(),
        "fused_entries.py": made.source.encode(),
        "path_replay.py": (HERE / "path_replay.py").read_bytes(),
    }
    files = files_of("bytecode") | compiled(sources, "armv6m") | {"main.py": START, "calls": made.content}
    text = emulate(files, folder, milliseconds=600_000, stop_at="end").text
    return len(calls), text.rpartition("totals ")[2].partition(" end")[0]


def test_one_call_in_forty_is_equal_on_the_chip(paths, tmp_path):
    count, told = on_a_pico(paths, 0, 40, tmp_path)
    assert count > 250
    assert told == f"calls {count} differences 0"


@pytest.mark.slow
@pytest.mark.parametrize("part", range(PARTS))
def test_every_path_is_equal_on_the_chip(paths, part, tmp_path):
    count, told = on_a_pico(paths, part, PARTS, tmp_path)
    assert count > 2_500
    assert told == f"calls {count} differences 0"
