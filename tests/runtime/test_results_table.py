"""The results for people and for programs."""

import json
import re

import pytest

from tests.runtime.calls import Calls
from tests.runtime.fuel import Fuel, Spread
from tests.runtime.results import Results
from tests.runtime.runners import ReplayedVectors
from tests.runtime.table import BEGIN, END, EVIDENCE, rewrite_evidence, table, with_table

pytestmark = pytest.mark.long


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
    assert "| CPython | all rides, 399,834 steps | 0 | not counted | all 7,257 | 0 |" in rows


def test_what_is_missing_is_said_in_the_table_and_does_not_fail(results):
    without = Results.__new__(Results)
    vars(without).update(vars(results))
    without.replayed = {**results.replayed, "compiled by mypyc": "no C compiler (cc) was found"}
    without.vectors = dict.fromkeys(results.vectors, "z3 is not installed")
    without.kernels = "there is no qemu-system-arm here"
    without.fuel = without.periods = without.calls = "wasmtime is not installed"
    without.compiled = "mpy-cross is not installed"
    without.frames = "there is no micropython for this machine"
    text = table(without)
    assert "| CPython | all rides, 399,834 steps | 0 | not counted | not run: z3 is not installed | |" in text
    assert "| compiled by mypyc | not run: no C compiler (cc) was found | | | | |" in text
    assert "| Cortex-M0 under QEMU | not run: there is no qemu-system-arm here | | | | |" in text
    assert "| not measured: wasmtime is not installed | | |" in text
    assert "Calls were not counted: wasmtime is not installed." in text
    assert "mpy-cross was not run: mpy-cross is not installed." in text
    assert without.holds()


def test_a_difference_is_in_the_table_and_fails(results):
    class Differing:
        steps, edges, differences, allocations = 10, 0, 2, 0

    wrong = Results.__new__(Results)
    vars(wrong).update(vars(results))
    wrong.replayed = {**results.replayed, "MicroPython, 32-bit": [Differing()]}
    assert "| MicroPython, 32-bit | all rides, 10 steps | 2 | 0 | all 7,257 | 0 |" in table(wrong)
    assert results.holds()
    assert not wrong.holds()


TOTALS = "v vectors {} outcomes 9 differences {} digest 0x1"


@pytest.mark.parametrize(
    ("totals", "cells"),
    [(TOTALS.format(7257, 1), "all 7,257 | 1 |"), (TOTALS.format(7256, 0), "all 7,256 | 0 |")],
)
def test_a_path_vector_that_comes_out_otherwise_or_is_left_out_is_seen_and_fails(results, totals, cells):
    wrong = Results.__new__(Results)
    vars(wrong).update(vars(results))
    wrong.vectors = {**results.vectors, "CPython": ReplayedVectors(totals)}
    assert f"| CPython | all rides, 399,834 steps | 0 | not counted | {cells}" in table(wrong)
    assert not wrong.holds()


def test_the_table_says_how_far_the_goal_for_a_step_is_met_and_why(results):
    with_numbers = Results.__new__(Results)
    vars(with_numbers).update(vars(results))
    riding = Fuel("esdr", [0, 10, 20, 130, 200, 60_210, 70_000, 160_010, 170_000, 250_010])
    with_numbers.fuel = {"riding": riding, "storm": riding}
    with_numbers.periods = Spread([100_000, 300_000])
    with_numbers.calls = Calls.__new__(Calls)
    with_numbers.calls.per_step, with_numbers.calls.fuel = 70, 1_000
    text = " ".join(table(with_numbers).split())
    assert "| a step at rest | 1 | 80,000 | 80,000 | 80,000 |" in text
    assert "| a step that drives, in an ordinary ride | 1 | 90,000 | 90,000 | 90,000 |" in text
    assert "| any step of that ride | 3 | 60,000 | 80,000 | 90,000 |" in text
    assert "the ordinary ride (loop, edges, step, link), the mean | 200,000 |" in text
    assert (
        "makes 70 calls of functions and methods; 70 calls of an empty one take 70,000 by themselves." in text
    )


def test_the_evidence_has_the_tables_as_they_are_written_now(results):
    """Numbers may be of another day; a machine that lacks something has other words in that row."""
    if "not run" in table(results) or "not measured" in table(results):
        pytest.skip("something is missing here that the written tables have: see the table")
    text = EVIDENCE.read_text(encoding="utf-8")
    assert form(text) == form(with_table(text, results)), "uv run python -m tests.runtime --write"


def form(text):
    """Return a text without its numbers and without the places where its lines end."""
    return re.sub(r"\d[\d,]*\d|\d", "#", " ".join(text.split()))


def test_only_what_is_between_the_marks_of_the_evidence_is_written(results, tmp_path):
    evidence = tmp_path / "EVIDENCE.md"
    evidence.write_text(f"before\n{BEGIN}of another day\n{END}after\n", encoding="utf-8")
    rewrite_evidence(results, evidence)
    text = evidence.read_text(encoding="utf-8")
    assert text.startswith(f"before\n{BEGIN}**The same firmware on every runtime.** 19 rides, ")
    assert text.endswith(f"\n{END}after\n")
    assert "of another day" not in text


def test_programs_get_the_same_as_json(results):
    found = json.loads(json.dumps(results.as_dict()))
    assert found["steps"] == 399_834
    assert found["rides"] == 19
    assert found["replayed"]["CPython"]["differences"] == 0
    assert found["path_vectors"]["CPython"]["vectors"] == 7_257
    assert found["fuel_of_a_period"]["steps"] == 8_538
    assert found["holds"] is True
