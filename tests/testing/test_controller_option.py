"""`--controller`: what it refuses, in one sentence and with exit code 2, and how its rides are reported."""

import json
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest

from host_sim.bench.named_controller import NamedController

GOOD = """
from firmware.records import Outputs

class Still:
    def __init__(self, settings):
        self.outputs = Outputs()

    def step(self, inputs, now_us):
        while inputs.crank.take():
            pass
        return self.outputs

class Failing(Still):
    def step(self, inputs, now_us):
        return 1 // (self.outputs.command_mv)

class Choosy(Still):
    def __init__(self, settings, gain):
        super().__init__(settings)

class Later(Still):
    steps = 0

    def step(self, inputs, now_us):
        self.steps += 1
        assert self.steps < 1000, "a thousand"
        return super().step(inputs, now_us)

number = 3
"""


@pytest.fixture
def mine(here: Path) -> Path:
    (here / "mine.py").write_text(GOOD, encoding="utf-8")
    (here / "broken.py").write_text("def step(:\n", encoding="utf-8")
    (here / "leaving.py").write_text("raise SystemExit(3)\n", encoding="utf-8")
    (here / "needy.py").write_text("import nothing_like_this\n", encoding="utf-8")
    return here


REFUSED = {
    "mine.py": "--controller is 'mine.py', allowed is module_or_file:Class, such as mine.py:Mine",
    "mine.py:": "allowed is module_or_file:Class",
    ":Still": "allowed is module_or_file:Class",
    "mine.py:a class": "allowed is module_or_file:Class",
    "a-b:Still": "allowed is module_or_file:Class",
    "other.py:Still": "names the file other.py, which does not exist",
    "no_such_module:Still": "names the module no_such_module, which was not found",
    "broken.py:Still": "it raised SyntaxError: invalid syntax (broken.py, line 1)\n",
    "leaving.py:Still": "leaving.py can't be imported, it raised SystemExit: 3",
    "needy.py:Still": "needy.py can't be imported, it raised ModuleNotFoundError",
    "mine.py:Stil": "names the class Stil, which mine.py does not have",
    "mine.py:number": "names number in mine.py, which is not a class with a method step(inputs, now_us)",
    "mine.py:Choosy": "Choosy(settings) raised TypeError",
}


@pytest.mark.parametrize("text", REFUSED)
def test_a_wrong_controller_is_refused_in_one_sentence(mine: Path, treadle, text: str):
    code, out, err = treadle("ride", "--controller", text)
    assert code == 2
    assert out == ""
    assert REFUSED[text] in err
    assert err.startswith("treadle: --controller")
    assert err.count("\n") == 1
    assert sorted(path.name for path in mine.glob("treadle-*")) == []


@pytest.fixture
def package(here: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Path]:
    monkeypatch.setattr(sys, "path", [*sys.path])
    folder = here / "assistance"
    folder.mkdir()
    (folder / "__init__.py").write_text("", encoding="utf-8")
    (folder / "numbers_of_it.py").write_text("GAIN = 3\n", encoding="utf-8")
    (folder / "mine.py").write_text("from .numbers_of_it import GAIN\n" + GOOD, encoding="utf-8")
    yield here
    for name in ("assistance", "assistance.mine", "assistance.numbers_of_it"):
        sys.modules.pop(name, None)


def test_a_file_of_a_package_is_named_as_a_module(package: Path, treadle):
    code, _, err = treadle("ride", "folding", "--controller", "assistance/mine.py:Still")
    assert code == 2
    assert "name a file of a package as a module, such as package.mine:Mine" in err
    code, _, _ = treadle("ride", "folding", "--seconds", "5", "--controller", "assistance.mine:Still")
    assert code == 0


def test_a_change_of_any_file_of_the_package_means_new_rides(package: Path):
    named = NamedController("assistance.mine:Still", package)
    before = named.digest()
    assert named.digest() == before
    (package / "unused.py").write_text("GAIN = 4\n", encoding="utf-8")
    assert named.digest() == before
    (package / "assistance" / "numbers_of_it.py").write_text("GAIN = 4\n", encoding="utf-8")
    assert named.digest() != before


def test_a_change_of_a_file_beside_the_class_means_new_rides(here: Path):
    (here / "gain_of_it.py").write_text("GAIN = 3\n", encoding="utf-8")
    (here / "mine.py").write_text("from gain_of_it import GAIN\n" + GOOD, encoding="utf-8")
    named = NamedController("mine.py:Still", here)
    before = named.digest()
    (here / "gain_of_it.py").write_text("GAIN = 4\n", encoding="utf-8")
    assert named.digest() != before
    sys.modules.pop("gain_of_it", None)


@pytest.mark.parametrize("words", [("verify",), ("sweep", "--vary", "rise_mv_per_s=300:600:2")])
def test_every_command_refuses_it_alike(mine: Path, treadle, words: tuple[str, ...]):
    code, _, err = treadle(*words, "--controller", "mine.py:Nobody")
    assert code == 2
    assert "names the class Nobody, which mine.py does not have" in err


def test_what_a_step_raises_is_one_sentence(mine: Path, treadle):
    code, _, err = treadle("ride", "folding", "--seconds", "5", "--controller", "mine.py:Failing")
    assert code == 2
    assert "Failing.step raised ZeroDivisionError: integer division or modulo by zero (mine.py, line " in err
    assert "Traceback" not in err
    assert sorted(path.name for path in mine.glob("treadle-*")) == []


def test_what_a_step_raises_in_a_worker_process_is_the_same_sentence(mine: Path, treadle):
    words = ("--controller", "mine.py:Later", "--vary", "rise_mv_per_s=300:600:2", "--workers", "1")
    code, _, err = treadle("sweep", "folding", *words)
    assert code == 2
    assert "Later.step raised AssertionError: a thousand (mine.py, line " in err
    assert "Traceback" not in err


def test_a_ride_says_what_such_a_controller_does_not_show(mine: Path, treadle):
    code, out, _ = treadle("ride", "folding", "--seconds", "5", "--controller", "mine:Still")
    assert code == 0
    assert "mine:Still shows its outputs only" in out


def test_a_sweep_leaves_out_what_is_not_shown(mine: Path, treadle):
    words = (
        "--controller",
        "mine.py:Still",
        "--vary",
        "rise_mv_per_s=300:600:2",
        "--seconds",
        "30",
        "--json",
    )
    code, out, _ = treadle("sweep", "folding", *words)
    assert code == 0
    assert json.loads(out)["ridden"] == 2
    header, first, _ = (mine / "treadle-sweep" / "sweep.csv").read_text(encoding="utf-8").splitlines()
    row = dict(zip(header.split(","), first.split(","), strict=True))
    assert row["surge_percent"] == row["engagements"] == row["settling_s"] == ""
    assert float(row["distance_m"]) > 0.0


def test_options_that_exclude_it_are_named(mine: Path, treadle):
    code, _, err = treadle("verify", "folding", "--faults", "--controller", "mine.py:Still")
    assert code == 2
    assert "--faults and --controller are both given, only one of them is allowed" in err
    words = ("--controller", "mine.py:Still", "--vary", "rise_mv_per_s=300:600:2")
    code, _, err = treadle("sweep", "folding", *words, "--cluster", "tcp://192.0.2.7:1")
    assert code == 2
    assert "--cluster and --controller are both given, allowed is one of them" in err


def test_a_handover_sheet_takes_no_report_of_another_controller(mine: Path, treadle):
    words = ("--controller", "mine.py:Still", "--rule", "brake cut", "--rides", "1", "--out", "held")
    treadle("verify", "folding", *words)
    code, _, err = treadle("handover", "folding", "--verify", "held/verify.json")
    assert code == 2
    assert "verify.json is of another controller (mine.py:Still)" in err


def test_the_version_is_printed(treadle):
    code, out, _ = treadle("--version")
    assert (code, out) == (0, "treadle 0.1.0\n")
