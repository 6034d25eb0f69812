"""`treadle ride --replay`: what it says of a log, of another bike, and of what can't be replayed."""

import json
import subprocess
import sys
from functools import partial

import pytest

from host_sim.boardlink.recorded import Block
from host_sim.replay.log_file import LogWriter
from tests.recorded_rides import DrivenRide

STEPS = 600


@pytest.fixture
def treadle(treadle):
    return partial(treadle, "ride", "--replay")


@pytest.fixture(scope="module")
def ride() -> tuple[DrivenRide, list[Block]]:
    ridden = DrivenRide()
    return ridden, ridden.blocks()


@pytest.fixture
def log(here, ride):
    return write(here / "ride.steps", ride[0], ride[1])


def write(path, ridden, blocks, settings=None):
    with LogWriter(path, force=True, option="--record") as log:
        log.begin("paper", "source", settings or ridden.controller.settings.as_dict())
        for block in blocks:
            log.write(block)
    return path.name


def test_a_log_is_replayed_to_the_bit_with_its_first_cause_and_a_picture(treadle, here, log):
    code, out, err = treadle(log, "--out", "out", "--json")
    assert (code, err) == (0, "")
    told = json.loads(out)
    (section,) = told["sections"]
    assert section["steps"] == section["equal_steps"] > STEPS
    assert (section["parts_at_step"], section["from_start"], told["complaint"]) == (None, True, None)
    assert section["faults"] == section["board_faults"] != []
    assert section["first_cause"] == section["faults"][0]["name"]
    assert (here / "out" / "ride.png").read_bytes().startswith(b"\x89PNG")
    assert (here / "out" / "trace.csv").read_text(encoding="utf-8").count("\n") > STEPS // 10


def test_for_people_it_names_the_first_cause_and_that_all_steps_agree(treadle, log):
    code, out, _ = treadle(log, "--out", "out")
    assert code == 0
    assert "bit for bit" in out
    assert "(first cause)" in out


def test_another_bike_shows_its_decisions_and_says_that_the_road_does_not_answer(treadle, log):
    code, out, _ = treadle(log, "folding", "--out", "out")
    assert code == 0
    assert "the settings differ from those of the ride" in out
    assert "decided alike; first at step" in out


def test_another_setting_is_another_settings_replay_too(treadle, log, ride):
    code, out, _ = treadle(log, "--set", "engage_edges=11", "--out", "out", "--json")
    assert code == 0
    assert json.loads(out)["sections"][0]["other_settings"] is True


def test_a_firmware_that_decides_otherwise_ends_with_the_step_and_the_difference(treadle, here, ride):
    ridden, blocks = ride
    wrong = ridden.controller.settings.as_dict() | {"assist_power_w": 100}
    code, _, err = treadle(write(here / "other.steps", ridden, blocks, wrong), "--out", "out")
    assert code == 1
    assert err.startswith("treadle: the firmware differs from the board at step ")
    assert " here and was " in err


def test_a_hole_is_told_with_its_place(treadle, here, ride):
    ridden, blocks = ride
    name = write(here / "hole.steps", ridden, blocks[:5] + blocks[6:])
    code, _, err = treadle(name, "--out", "out")
    assert code == 1
    assert "steps before step" in err


def test_a_log_from_the_middle_says_from_where_on_it_agrees_or_that_it_does_not(treadle, here, ride):
    ridden, blocks = ride
    code, out, _ = treadle(write(here / "middle.steps", ridden, blocks[10:]), "--out", "out", "--json")
    (section,) = json.loads(out)["sections"]
    assert section["from_start"] is False
    assert code == (1 if section["agrees_from_step"] is None else 0)
    code, out, err = treadle("middle.steps", "--out", "out2")
    assert "from the middle of a ride" in out
    assert ("on, bit for bit; before" in out) or "does not come to agree" in err


@pytest.mark.long
def test_as_test_writes_a_test_that_passes_by_itself(treadle, here, log):
    code, out, err = treadle(log, "--out", "out", "--as-test", "test_field.py")
    assert (code, err) == (0, "")
    assert out.splitlines()[-1] == "test_field.py"
    words = [sys.executable, "-m", "pytest", "-q", "-p", "no:cacheprovider", "test_field.py"]
    done = subprocess.run(words, cwd=here, capture_output=True, text=True, check=False)
    assert "1 passed" in done.stdout, done.stdout


@pytest.mark.long
def test_a_test_made_of_a_ride_fails_where_the_firmware_decides_otherwise(treadle, here, log):
    treadle(log, "--out", "out", "--as-test", "test_field.py")
    text = (here / "test_field.py").read_text(encoding="utf-8")
    changed = "Settings(section.settings | {'assist_power_w': 100})"
    (here / "test_field.py").write_text(text.replace("Settings(section.settings)", changed), encoding="utf-8")
    words = [sys.executable, "-m", "pytest", "-q", "-p", "no:cacheprovider", "test_field.py"]
    done = subprocess.run(words, cwd=here, capture_output=True, text=True, check=False)
    assert "1 failed" in done.stdout


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (("nosuch.steps",), "nosuch.steps: there is no such file"),
        ((".",), "this is a directory, allowed is a file"),
        (("/dev/zero",), "/dev/zero: this is not an ordinary file"),
        (("newer.steps",), "the log's settings do not fit this version of the firmware: engage_rpm"),
        (("foreign.csv",), "foreign.csv is not a log of treadle watch --record or --blackbox"),
        (("ride.steps", "--course", "hill"), "--replay takes the ride from its log"),
        (("ride.steps", "--set", "engage_rpm=900"), "--set engage_rpm is"),
        (("ride.steps", "--as-test", "field.py"), "--as-test is field.py, allowed is a name like test_"),
        (
            ("ride.steps", "folding", "--as-test", "test_a.py"),
            "allowed is --as-test with the settings of the ride",
        ),
        (("cut.steps",), "cut.steps is cut off at byte"),
    ],
)
def test_what_cannot_be_replayed_is_one_sentence_and_exit_code_2(treadle, here, log, ride, words, said):
    (here / "foreign.csv").write_text("time_s,levels\n", encoding="utf-8")
    (here / "cut.steps").write_bytes((here / log).read_bytes()[:-40])
    write(here / "newer.steps", *ride, ride[0].controller.settings.as_dict() | {"engage_rpm": 100_000})
    code, out, err = treadle(*words)
    assert (code, out) == (2, "")
    assert said in err
    assert err.count("\n") == 1
    assert not list(here.glob("treadle-replay*"))
