"""Mutants against the proofs: each beginning of their order is fair; survivors and table fit the results."""

import ast
import tomllib

import pytest

from tests.mutation.proof_cover import is_covered
from tests.mutation.proof_mutants import FILES, ROOT, configure, fair_order, mutants_of
from tests.mutation.proof_table import SURVIVORS, TABLE
from tests.mutation.prove import RESULTS, known_results


@pytest.fixture(scope="module", autouse=True)
def configured():
    configure()


@pytest.mark.parametrize("beginning", [60, 300, 1_000])
def test_each_file_has_its_share_of_every_beginning(beginning: int):
    files = ("sense/supply.py", "decide/events.py", "guard/plausibility.py", "integers.py")
    order = fair_order(files)
    chosen = order[: min(beginning, len(order) - 1)]
    for file in files:
        share = len(mutants_of(file)) * len(chosen) / len(order)
        assert abs(sum(mutant.file == file for mutant in chosen) - share) <= 1


def test_the_first_of_a_file_are_spread_over_all_of_it():
    lines = [mutant.line for mutant in fair_order(("guard/plausibility.py",))]
    assert max(lines[:16]) - min(lines[:16]) > (max(lines) - min(lines)) * 3 // 4


def test_no_two_mutants_have_one_name():
    names = [mutant.name for mutant in fair_order(("sense/levers.py", "drive/power_loop.py"))]
    assert len(set(names)) == len(names)


def test_what_is_said_of_survivors_is_said_of_mutants_that_lived():
    results = known_results(RESULTS)
    survivors = tomllib.loads(SURVIVORS.read_text(encoding="utf-8"))["survivor"]
    lived = {name for name, entry in results.items() if not entry["how"]}
    assert {one["mutant"] for one in survivors} <= lived
    assert {one["class"] for one in survivors} <= {"equivalent", "outside"}


def test_the_table_is_of_the_results_that_are_kept():
    results = known_results(RESULTS)
    killed = sum(bool(entry["how"]) for entry in results.values())
    assert f"Killed: {killed} of {len(results)}:" in TABLE.read_text(encoding="utf-8")
    assert {name.split(" ")[0] for name in results} <= set(FILES)


def test_the_functions_that_no_exact_contract_covers_are_these():
    # Statements and lemmas speak of these, or of what they are part of. A constructor shows in what it
    # builds.
    left = {}
    for file in FILES:
        tree = ast.parse((ROOT / "firmware" / file).read_text(encoding="utf-8"))
        names = {node.name for node in ast.walk(tree) if isinstance(node, ast.FunctionDef)} - {"__init__"}
        if uncovered := sorted(name for name in names if not is_covered(file, name)):
            left[file] = uncovered
    assert left == {
        "integers.py": ["square_root"],
        "records.py": ["make_safe", "record", "take"],
        "settings.py": ["as_dict"],
        "ticks.py": ["ticks_add_us", "ticks_diff_us"],
        "guard/plausibility.py": ["_rest"],
        "sense/crank.py": ["_reject", "forget_run"],
        "sense/rotation.py": ["restamp", "update"],
        "sense/shunt_watch.py": ["_rest"],
    }
