"""The wheel, installed where there is no clone: every command runs from it."""

import subprocess
import sys
from pathlib import Path

import pytest

from host_sim.cli.program import COMMANDS as PROGRAM

ROOT = Path(__file__).resolve().parents[2]
EXTRAS = "fit,proof,tune,fast,sweep,cluster,board,testing"
COMMANDS = (
    "new longtail --volts 48 --watts 750 --sensor two-channel --pulses 12 --place us_class_2",
    "ride longtail.toml --course errand --seconds 20 --capture crank.vcd",
    "inspect crank.vcd --forward 6:20 --bike longtail.toml",
    "measure longtail.toml --pushed 21.34:10 --pushed 21.36:10 --pushed 21.33:10",
    "verify longtail.toml --rule surge --rides 1",
    "prove --property levers",
    "tune --help",
    "sweep longtail.toml --vary rise_mv_per_s=300:600:2 --seconds 30",
    "bundle --board rpi_pico longtail.toml --out pico",
    "bundle --form c tandem --out c",
    "flash --board desk longtail.toml --rides 1 --out desk --dry-run",
    "watch --desk --plain --hurry --seconds 8 --record ride.csv",
    "compare longtail.toml ride.steps",
    "step --desk --hurry",
    "calibrate --help",
    "commission --help",
    "lab --teacher",
    "handover tandem --out sheet.html",
)


def test_every_command_is_among_them():
    assert {line.split()[0] for line in COMMANDS} == {name for names in PROGRAM.values() for name in names}


@pytest.mark.slow
def test_every_command_runs_from_the_wheel_outside_a_clone(tmp_path):
    uv = [sys.executable, "-m", "uv"]
    if subprocess.run([*uv, "--version"], check=False, capture_output=True).returncode != 0:
        uv = ["uv"]
    subprocess.run([*uv, "build", "--quiet", "--wheel", "-o", str(tmp_path), str(ROOT)], check=True)
    (wheel,) = tmp_path.glob("*.whl")
    subprocess.run([*uv, "venv", "--quiet", str(tmp_path / "venv")], check=True)
    python = tmp_path / "venv" / "bin" / "python"
    subprocess.run(
        [*uv, "pip", "install", "--quiet", "--python", str(python), f"{wheel}[{EXTRAS}]"], check=True
    )
    folder = tmp_path / "elsewhere"
    folder.mkdir()
    for line in COMMANDS:
        words = [str(tmp_path / "venv" / "bin" / "treadle"), *line.split()]
        done = subprocess.run(words, cwd=folder, capture_output=True, text=True, check=False)
        assert done.returncode == 0, f"{line}: {done.stdout[-400:]} {done.stderr[-800:]}"
    subprocess.run(["make", "check"], cwd=folder / "c", check=True, capture_output=True)
