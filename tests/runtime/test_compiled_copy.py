"""The compiled copy: what is in it, and what is said when there can't be one."""

import subprocess
import sys
import time
from concurrent.futures import ThreadPoolExecutor

import pytest

from host_sim.compiled.build import CannotCompile, compiled_copy, missing_tools
from tests.runtime.runners import Compiled


@pytest.mark.long
def test_the_copy_holds_machine_code_and_lies_outside_the_source_tree():
    if missing_tools():
        pytest.skip(missing_tools())
    folder = compiled_copy()
    assert [path for path in folder.rglob("*.py") if "link" not in path.parts] == []
    show = "import firmware.controller, firmware.records; print(firmware.controller.__file__)"
    done = subprocess.run(
        [sys.executable, "-P", "-c", show],
        env={"PYTHONPATH": str(folder)},
        capture_output=True,
        text=True,
        check=True,
    )
    assert done.stdout.startswith(str(folder))
    assert done.stdout.strip().endswith((".so", ".pyd"))


@pytest.mark.long
def test_a_second_request_finds_the_first_copy():
    if missing_tools():
        pytest.skip(missing_tools())
    assert compiled_copy() == compiled_copy()


@pytest.mark.long
def test_without_a_compiler_one_sentence_says_so(monkeypatch, tmp_path):
    monkeypatch.setenv("CC", "no-such-compiler")
    monkeypatch.setenv("TREADLE_CACHE", str(tmp_path))
    with pytest.raises(CannotCompile) as refusal:
        compiled_copy()
    assert str(refusal.value).startswith("there is no compiled copy: ")
    assert "\n" not in str(refusal.value)
    assert Compiled().why_missing() == missing_tools() != ""
    assert list(tmp_path.iterdir()) == []


@pytest.mark.long
def test_source_that_can_not_be_compiled_is_refused_in_one_sentence_and_leaves_nothing(monkeypatch, tmp_path):
    if missing_tools():
        pytest.skip(missing_tools())
    package = tmp_path / "source" / "broken"
    package.mkdir(parents=True)
    (package / "__init__.py").write_text('def number() -> int:\n    return "text"\n', encoding="utf-8")
    monkeypatch.setattr("host_sim.compiled.build.ROOT", tmp_path / "source")
    monkeypatch.setenv("TREADLE_CACHE", str(tmp_path / "cache"))
    with pytest.raises(CannotCompile, match=r"^there is no compiled copy: mypyc ended with code 1, [^\n]+$"):
        compiled_copy(("broken",))
    assert list((tmp_path / "cache").iterdir()) == []


def test_of_two_that_want_the_copy_one_builds_and_the_other_waits_for_it(monkeypatch, tmp_path):
    if missing_tools():
        pytest.skip(missing_tools())
    pytest.importorskip("fcntl")
    monkeypatch.setenv("TREADLE_CACHE", str(tmp_path))
    built = []

    def compiled(sources, workshop):
        built.append(workshop)
        time.sleep(0.3)
        (workshop / "binary.so").touch()

    monkeypatch.setattr("host_sim.compiled.build._compile", compiled)
    monkeypatch.setattr("host_sim.compiled.build._keep_binaries", lambda workshop: None)
    with ThreadPoolExecutor(2) as pool:
        first, second = pool.map(compiled_copy, [("firmware/ticks.py",)] * 2)
    assert first == second
    assert len(built) == 1
    assert list(tmp_path.iterdir()) == [first]
    assert (first / "binary.so").is_file()
