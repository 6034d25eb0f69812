"""Telemetry and console allocate no memory between steps, on 32-bit words too."""

from pathlib import Path

import pytest

from host_sim.compiled.build import ROOT
from host_sim.testing import wasm

SCRIPT = (ROOT / "tests" / "link_heap.py").read_text(encoding="utf-8")


def printed(folder: Path, source: str) -> list[str]:
    """Return the lines that the script prints on the 32-bit MicroPython."""
    if wasm.why_missing():
        pytest.skip(wasm.why_missing())
    (folder / "link_heap.py").write_text(source, encoding="utf-8")
    text, _ = wasm.run_script("/here/link_heap.py", [], {ROOT: "/project", folder: "/here"}, "/project")
    return text.splitlines()


def test_telemetry_and_console_take_no_memory_on_the_32_bit_runtime(tmp_path):
    # The same as on the 64-bit one; see tests/unit/test_telemetry.py.
    assert printed(tmp_path, SCRIPT) == [
        "blocks lost 11 frozen 2",
        "units 76",
        "bytes 10240",
        "edges 600",
        "bytes in 149",
    ]


def test_a_number_beyond_a_small_integer_in_a_turn_of_the_link_would_be_noticed(tmp_path):
    # The same script, but its clock runs out of the 30 bits that a step may count to.
    source = SCRIPT.replace("now_us = 0\n", "now_us = 2**30 - 1_000_000\n")
    assert source != SCRIPT
    with pytest.raises(wasm.GuestFailed, match="MemoryError"):
        printed(tmp_path, source)
