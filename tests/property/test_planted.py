"""Mistakes planted in the firmware, each against a property's sentence: a statement is no longer proved."""

import os
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[2]
SCRIPT = """
import sys
import firmware
from host_sim.proof.whole.jobs import run_job
result = run_job(sys.argv[1])
print(firmware.__file__)
print(result.verdict, "|", result.what)
"""
PLANTED = {
    "faults are looked at after the decision, so that the step that latches still drives": (
        "controller.py",
        "        self.faults.step(inputs, self.outputs.command_mv)\n        self._engage(inputs)\n",
        "        self._engage(inputs)\n        self.faults.step(inputs, self.outputs.command_mv)\n",
        "step cut, kind 0",
    ),
    "without a shunt the command rises at the fall rate": (
        "controller.py",
        "SlewLimiter(settings.rise_mv_per_s, settings.fall_mv_per_s, now_us)",
        "SlewLimiter(settings.rise_mv_per_s if settings.shunt_fitted == 1 else settings.fall_mv_per_s,"
        " settings.fall_mv_per_s, now_us)",
        "step rise, kind 0",
    ),
    "the direction of a duty-coded ring is not told": (
        "sense/crank.py",
        "elif (excess_us > 0) == self._forward_duty_high:",
        "elif excess_us != 0 or self._forward_duty_high:",
        "edge duty, kind 2",
    ),
    "the gate does not tell the direction of a duty-coded ring": (
        "guard/output_guard.py",
        "if (high_us > low_us) == (self._settings.forward_duty_high == 1):",
        "if high_us != low_us or self._settings.forward_duty_high == 1:",
        "gate duty, kind 2",
    ),
    "a potentiometer gives a share of up to 1950 permille": (
        "sense/levers.py",
        "            self.share_permille = turned_permille\n",
        "            self.share_permille = turned_permille * 1950 // 1000\n",
        "step levers, kind 0",
    ),
    "the lead is flipped from 32 pulses on": (
        "sense/crank.py",
        "self._backward_step = 1 if settings.lead == B_LEADS else 3",
        "self._backward_step = 1 if (settings.lead == B_LEADS) != (pulses >= 32) else 3",
        "edge two channels, kind 0",
    ),
}


def verdict_of(folder: Path, job: str) -> str:
    """Run one job of the proof on the firmware in a folder."""
    shown = subprocess.run(
        [sys.executable, "-c", SCRIPT, job],
        env={**os.environ, "PYTHONPATH": f"{folder}{os.pathsep}{ROOT}"},
        cwd=folder,
        capture_output=True,
        text=True,
        check=True,
    )
    place, said = shown.stdout.splitlines()
    assert place.startswith(str(folder))
    return said


@pytest.mark.slow  # On a busy machine the solver may run into its limit of time.
@pytest.mark.parametrize("mistake", PLANTED)
def test_a_planted_mistake_is_not_proved(mistake: str, tmp_path: Path):
    file, old, new, job = PLANTED[mistake]
    shutil.copytree(ROOT / "firmware", tmp_path / "firmware", ignore=shutil.ignore_patterns("__pycache__"))
    path = tmp_path / "firmware" / file
    text = path.read_text(encoding="utf-8")
    assert text.count(old) == 1
    assert verdict_of(tmp_path, job).startswith("proved")
    path.write_text(text.replace(old, new), encoding="utf-8")
    assert not verdict_of(tmp_path, job).startswith("proved")
