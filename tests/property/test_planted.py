"""Mistakes planted in the firmware, each against the sentence of the property that is named: it is refuted.

All of them: `uv run pytest -m '' tests/property/test_planted.py`, a few minutes.
"""

import json
import os
import shutil
import subprocess
import sys
from pathlib import Path
from typing import Any

import pytest

from host_sim.proof.properties import PROPERTIES
from host_sim.proof.whole.evidence import jobs_of
from host_sim.proof.whole.statements import STATEMENTS
from tests.planting import misplaced, plant
from tests.property.planted_mistakes import PLANTED

ROOT = Path(__file__).resolve().parents[2]
SCRIPT = """
import json, sys
import firmware
from host_sim.proof.whole.jobs import run_job
result = run_job(sys.argv[1])
print(json.dumps([firmware.__file__, result.verdict, result.what, result.sequence, result.test]))
"""


def shown_of(folder: Path, job: str) -> dict[str, Any]:
    """Run one job of the proof on the firmware in a folder."""
    shown = subprocess.run(
        [sys.executable, "-c", SCRIPT, job],
        env=_environment(folder),
        cwd=folder,
        capture_output=True,
        check=True,
    )
    place, verdict, what, sequence, test = json.loads(shown.stdout)
    assert place.startswith(str(folder))
    return {"verdict": verdict, "what": what, "sequence": sequence, "test": test}


def _environment(folder: Path) -> dict[str, str]:
    return {**os.environ, "PYTHONPATH": f"{folder}{os.pathsep}{ROOT}"}


def passes(folder: Path, test: str) -> bool:
    """Run a unit test on the firmware in a folder."""
    name = test.split("def ")[1].split("(")[0]
    done = subprocess.run(
        [sys.executable, "-c", f"{test}\n{name}()"], env=_environment(folder), cwd=folder, check=False
    )
    return done.returncode == 0


@pytest.mark.parametrize("mistake", PLANTED)
def test_each_planted_mistake_is_against_a_statement_of_the_property_that_is_named(mistake: str):
    row = PLANTED[mistake]
    stated = next(one for one in PROPERTIES if one.name == row.stated)
    assert row.job in jobs_of(stated.statements)
    assert misplaced([row.mistake]) == []


def test_every_statement_has_a_mistake_that_it_refutes():
    assert {row.statement for row in PLANTED.values()} == set(STATEMENTS)


def planted(mistake: str, folder: Path) -> str:
    """Copy the firmware with a mistake in it into a folder, and return the job that is to find it."""
    shutil.copytree(ROOT / "firmware", folder / "firmware", ignore=shutil.ignore_patterns("__pycache__"))
    plant(folder / "firmware", PLANTED[mistake].mistake)
    return PLANTED[mistake].job


def check_found(mistake: str, folder: Path) -> None:
    """Make sure that a mistake is refuted, with a sequence and a test that fails on it and passes without."""
    found = shown_of(folder, planted(mistake, folder))
    assert found["verdict"] == "refuted"
    assert found["sequence"][-1] == f"broken: {found['what']}"
    assert not passes(folder, found["test"])
    assert passes(ROOT, found["test"])


def test_a_potentiometer_of_1950_permille_is_refuted_by_a_test_that_only_the_mistake_fails(tmp_path: Path):
    check_found("a potentiometer gives a share of up to 1950 permille", tmp_path)


@pytest.mark.long
@pytest.mark.parametrize("mistake", [mistake for mistake, row in PLANTED.items() if not row.is_of_a_step])
def test_a_mistake_about_edges_or_the_gate_is_refuted_by_a_test_that_only_it_fails(
    mistake: str, tmp_path: Path
):
    check_found(mistake, tmp_path)


@pytest.mark.slow  # Up to minutes of solving.
@pytest.mark.parametrize("mistake", [mistake for mistake, row in PLANTED.items() if row.is_of_a_step])
def test_a_planted_mistake_is_refuted_by_a_test_that_only_the_mistake_fails(mistake: str, tmp_path: Path):
    check_found(mistake, tmp_path)


@pytest.mark.slow
@pytest.mark.parametrize("job", sorted({row.job for row in PLANTED.values()}))
def test_without_the_mistake_the_same_is_proved(job: str):
    assert shown_of(ROOT, job)["verdict"] == "proved"
