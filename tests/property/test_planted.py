"""Mistakes planted in the firmware, each against the sentence of the property that is named: it is refuted.

All of them: `uv run pytest -m slow tests/property/test_planted.py`, a few minutes.
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

ROOT = Path(__file__).resolve().parents[2]
SCRIPT = """
import json, sys
import firmware
from host_sim.proof.whole.jobs import run_job
result = run_job(sys.argv[1])
print(json.dumps([firmware.__file__, result.verdict, result.what, result.sequence, result.test]))
"""
PLANTED = {
    "faults are looked at after the decision, so that the step that latches still drives": (
        "controller.py",
        "        self.faults.step(inputs, self.outputs.command_mv)\n        self._engage(inputs)\n",
        "        self._engage(inputs)\n        self.faults.step(inputs, self.outputs.command_mv)\n",
        "cut",
        "step cut, kind 0",
    ),
    "without a shunt the command rises at the fall rate": (
        "controller.py",
        "SlewLimiter(settings.rise_mv_per_s, settings.fall_mv_per_s, now_us)",
        "SlewLimiter(settings.rise_mv_per_s if settings.shunt_fitted == 1 else settings.fall_mv_per_s,"
        " settings.fall_mv_per_s, now_us)",
        "rise",
        "step rise, kind 0",
    ),
    "the direction of a duty-coded ring is not shown": (
        "sense/crank.py",
        "elif (excess_us > 0) == self._forward_duty_high:",
        "elif excess_us != 0 or self._forward_duty_high:",
        "backward",
        "edge duty, kind 2",
    ),
    "the gate does not tell the direction of a duty-coded ring": (
        "guard/output_guard.py",
        "if (high_us > low_us) == (self._settings.forward_duty_high == 1):",
        "if high_us != low_us or self._settings.forward_duty_high == 1:",
        "backward",
        "gate duty, kind 2",
    ),
    "a potentiometer gives a share of up to 1950 permille": (
        "sense/levers.py",
        "            self.share_permille = turned_permille\n",
        "            self.share_permille = turned_permille * 1950 // 1000\n",
        "levers",
        "step levers, kind 0",
    ),
    "the lead is flipped from 32 pulses on": (
        "sense/crank.py",
        "self._backward_step = 1 if settings.lead == B_LEADS else 3",
        "self._backward_step = 1 if (settings.lead == B_LEADS) != (pulses >= 32) else 3",
        "backward",
        "edge two channels, kind 0",
    ),
}


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
    file, old, new, name, job = PLANTED[mistake]
    stated = next(one for one in PROPERTIES if one.name == name)
    assert job in jobs_of(stated.statements)
    assert (ROOT / "firmware" / file).read_text(encoding="utf-8").count(old) == 1
    assert old != new


def planted(mistake: str, folder: Path) -> str:
    """Copy the firmware with a mistake in it into a folder, and return the job that is to find it."""
    file, old, new, _, job = PLANTED[mistake]
    shutil.copytree(ROOT / "firmware", folder / "firmware", ignore=shutil.ignore_patterns("__pycache__"))
    path = folder / "firmware" / file
    path.write_text(path.read_text(encoding="utf-8").replace(old, new), encoding="utf-8")
    return job


def check_found(mistake: str, folder: Path) -> None:
    """Make sure that a mistake is refuted, with a sequence and a test that fails on it and passes without."""
    found = shown_of(folder, planted(mistake, folder))
    assert found["verdict"] == "refuted"
    assert found["sequence"][-1] == f"broken: {found['what']}"
    assert not passes(folder, found["test"])
    assert passes(ROOT, found["test"])


def test_a_potentiometer_of_1950_permille_is_refuted_by_a_test_that_only_the_mistake_fails(tmp_path: Path):
    check_found("a potentiometer gives a share of up to 1950 permille", tmp_path)


@pytest.mark.slow  # A minute of solving.
@pytest.mark.parametrize("mistake", PLANTED)
def test_a_planted_mistake_is_refuted_by_a_test_that_only_the_mistake_fails(mistake: str, tmp_path: Path):
    check_found(mistake, tmp_path)


@pytest.mark.slow
@pytest.mark.parametrize("job", sorted({row[-1] for row in PLANTED.values()}))
def test_without_the_mistake_the_same_is_proved(job: str):
    assert shown_of(ROOT, job)["verdict"] == "proved"
