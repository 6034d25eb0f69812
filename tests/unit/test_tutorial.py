"""The tutorial is a script: all of its commands, in its order, in an empty folder, over the desk board."""

import json
import os
import re
import subprocess
import sys
from pathlib import Path

import pytest

from host_sim.bikes import load_bike
from tests.micropython_unix import micropython_unix

ROOT = Path(__file__).resolve().parents[2]
TUTORIAL = (ROOT / "host_sim" / "TUTORIAL.md").read_text(encoding="utf-8")
BLOCKS = re.findall(r"```sh\n(.*?)```", TUTORIAL, re.S)
JOB = (
    *("new", "ride", "bundle", "inspect", "flash", "watch", "calibrate", "commission"),
    *("watch", "tune", "verify", "flash", "handover"),
)


def test_the_tutorial_goes_through_the_whole_job_in_its_order():
    assert tuple(re.findall(r"^(?:printf .*\| )?treadle (\w+)", "".join(BLOCKS), re.M)) == JOB


def test_cautions_stand_before_the_first_command():
    before = TUTORIAL.split("```sh")[0]
    for words in ("battery unplugged", "wheel off the", "Local codes"):
        assert words in before


@pytest.mark.slow
def test_every_command_of_the_tutorial_does_its_part(tmp_path):
    micropython_unix()
    here = tmp_path / "here"
    here.mkdir()
    programs = str(Path(sys.executable).parent)
    environment = {**os.environ, "PATH": programs + os.pathsep + os.environ["PATH"]}
    for block in BLOCKS:
        ran = subprocess.run(
            ["bash", "-euo", "pipefail", "-c", block],
            cwd=here,
            env=environment,
            capture_output=True,
            text=True,
            check=False,
        )
        assert ran.returncode == 0, (block, ran.stdout[-2000:], ran.stderr[-2000:])
    bike = load_bike(here / "longtail.toml")
    assert bike.bicycle.wheel_circumference_m == 2.15
    assert "# measured by Ada, " in (here / "longtail.toml").read_text(encoding="utf-8")
    assert json.loads((here / "calibration.json").read_text())["settings"]["wheel_circumference_mm"] == 2150
    commissioned = json.loads((here / "commission.json").read_text())
    assert commissioned["passed"] is True
    assert commissioned["settings"] == bike.firmware_settings.as_dict()
    assert json.loads((here / "desk" / "manifest.json").read_text())["settings"] == commissioned["settings"]
    assert (here / "ride.csv").read_text().count("\n") > 100
    assert "longtail" in (here / "longtail.html").read_text(encoding="utf-8")
    assert (here / "pico" / "wiring_rpi_pico.html").is_file()
    for made in ("bench/ride.png", "sensor/inspection.png", "tuned/tune.json"):
        assert (here / made).is_file()
