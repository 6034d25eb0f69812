"""The page of host_sim.testing says what is so: its blocks run, its bug is found and its mend mends it."""

import json
import re
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[2]
PAGE = (ROOT / "host_sim" / "testing" / "README.md").read_text(encoding="utf-8")
BLOCKS = dict(re.findall(r"```python\n# ([^\n]+)\n(.*?)```", PAGE, re.DOTALL))
RULE = "cut-off distance"


def mended(text: str) -> str:
    line = BLOCKS["mend of mine.py"].strip()
    assert line.startswith("QUIET_STEPS = ")
    return re.sub(r"^QUIET_STEPS = .*$", line, text, flags=re.MULTILINE)


@pytest.fixture
def written(here: Path) -> Path:
    for name, text in BLOCKS.items():
        if not name.startswith("mend"):
            (here / name).write_text(text, encoding="utf-8")
    return here


def run_tests(folder: Path, name: str) -> tuple[int, str]:
    command = [sys.executable, "-m", "pytest", "-q", "-p", "no:cacheprovider", "-p", "no:xdist", name]
    done = subprocess.run(command, cwd=folder, capture_output=True, text=True, check=False)
    return done.returncode, done.stdout


def test_every_block_has_its_name_and_is_run_here():
    assert list(BLOCKS) == ["mine.py", "test_mine.py", "mend of mine.py", "test_search.py", "test_lemma.py"]
    assert PAGE.count("```python") == len(BLOCKS)
    lines = [line for line in BLOCKS["mine.py"].splitlines() if line.strip()]
    assert len(lines) <= 40
    assert len([line for line in BLOCKS["test_mine.py"].splitlines() if line.strip()]) <= 10


@pytest.mark.long
def test_the_bug_is_found_and_the_mend_mends_it(written: Path):
    code, said = run_tests(written, "test_mine.py")
    assert code == 1
    assert '"cut-off distance" fails: ' in said
    assert "1 failed, 1 passed" in said
    mine = written / "mine.py"
    mine.write_text(mended(mine.read_text(encoding="utf-8")), encoding="utf-8")
    code, said = run_tests(written, "test_mine.py")
    assert code == 0, said


def test_the_tests_that_search_pass(written: Path):
    code, said = run_tests(written, "test_search.py")
    assert code == 0, said
    assert "6 passed" in said


def test_the_lemma_is_proved_and_the_wrong_one_refuted(written: Path):
    code, said = run_tests(written, "test_lemma.py")
    assert code == 0, said
    assert "2 passed" in said


def verified(treadle, controller: str) -> tuple[int, dict]:
    words = ("--controller", controller, "--rule", RULE, "--rides", "1", "--json")
    code, out, _ = treadle("verify", "folding", *words)
    [entry] = json.loads(out)
    return code, entry


def test_verify_finds_the_bug_and_holds_the_mended_controller(written: Path, treadle):
    code, entry = verified(treadle, "mine.py:Proportional")
    assert (code, entry["verdict"], entry["limit"]) == (1, "fails", 2.0)
    assert entry["controller"] == "mine.py:Proportional"
    (written / "better.py").write_text(mended(BLOCKS["mine.py"]), encoding="utf-8")
    code, entry = verified(treadle, "better.py:Proportional")
    assert (code, entry["verdict"]) == (0, "holds")
