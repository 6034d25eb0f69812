"""A sweep rides at once although nothing is compiled, and leaves no process behind when it is killed."""

import os
import subprocess
import sys
import time
from pathlib import Path

import pytest

from host_sim.compiled import workers as workers_module
from host_sim.compiled.workers import Workers
from tests.sweep.made_up import number_and_form

ROOT = Path(__file__).resolve().parents[2]
PROGRAM = [sys.executable, "-c", "from host_sim.cli import main; main()", "sweep"]
GIVE_UP_S = 120.0  # Nothing here takes seconds on a machine without other work.


def endless_compiler(folder):
    """Write a C compiler that never ends."""
    program = folder / "cc"
    program.write_text("#!/bin/sh\nsleep 1000\n")
    program.chmod(0o755)
    return program


def descendants(process):
    """Return all processes that come from this one, as /proc has them now."""
    parents = {}
    for path in Path("/proc").glob("[0-9]*/stat"):
        try:
            state, parent = path.read_text(encoding="utf-8").rsplit(")", 1)[1].split()[:2]
        except OSError:
            continue
        if state != "Z":
            parents[int(path.parent.name)] = int(parent)
    found = {process}
    for _ in range(10):
        found |= {child for child, parent in parents.items() if parent in found}
    return found - {process}


def alive(processes):
    """Return which of these still run."""
    running = set()
    for process in processes:
        try:
            state = Path(f"/proc/{process}/stat").read_text(encoding="utf-8").rsplit(")", 1)[1].split()[0]
        except OSError:
            continue
        if state != "Z":
            running.add(process)
    return running


def until(what, told):
    """Wait until `what()` is true; fail if it never is."""
    end_s = time.monotonic() + GIVE_UP_S
    while not what():
        assert time.monotonic() < end_s, told
        time.sleep(0.02)


@pytest.mark.long
@pytest.mark.skipif(not Path("/proc/self/stat").exists(), reason="/proc tells which processes there are")
def test_a_sweep_that_is_killed_outright_leaves_no_process_and_no_half_copy(tmp_path):
    cache = tmp_path / "cache"
    environment = {
        **os.environ, "CC": str(endless_compiler(tmp_path)), "TREADLE_CACHE": str(cache),
        "PYTHONPATH": str(ROOT),
    }  # fmt: skip
    words = ["--seconds", "3600", "--vary", "strength_nm=40:120:8", "--workers", "2"]
    running = subprocess.Popen(
        [*PROGRAM, *words], cwd=tmp_path, env=environment, stderr=subprocess.PIPE, text=True
    )
    try:
        # Two that ride, a guard, the build, another guard and mypyc.
        until(lambda: len(descendants(running.pid)) >= 6, "the processes were never started")
        started = descendants(running.pid)
    finally:
        running.kill()
    assert running.stderr.readline() == (
        "treadle: compiling the bench, once; rides are interpreted until that is done\n"
    )
    running.wait()
    until(lambda: not alive(started), "processes go on without the sweep")
    assert list(cache.iterdir()) == []


@pytest.mark.long
def test_rides_go_on_while_the_compiler_never_ends(treadle, tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("CC", str(endless_compiler(tmp_path)))
    monkeypatch.setenv("TREADLE_CACHE", str(tmp_path / "cache"))
    monkeypatch.setattr("host_sim.sweeping.running.COMPILING_PAYS_S", 0.0)
    words = ["--seconds", "30", "--vary", "rise_mv_per_s=200:3000:2", "--workers", "2"]
    code, out, told = treadle("sweep", *words)
    assert code == 0
    assert told.startswith("treadle: compiling the bench, once;")
    assert "2 of 2 points ridden" in out
    assert list((tmp_path / "cache").iterdir()) == []


@pytest.mark.long
def test_few_rides_are_not_worth_a_compilation(treadle, tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("TREADLE_CACHE", str(tmp_path / "cache"))
    code, _, told = treadle(
        "sweep", "--seconds", "30", "--vary", "rise_mv_per_s=200:3000:2", "--workers", "2"
    )
    assert (code, told) == (0, "")
    assert not (tmp_path / "cache").exists()


def test_processes_change_to_the_copy_when_it_is_there(tmp_path, monkeypatch):
    class Copy:
        """A copy that is there when its folder is set: an empty one, so all is interpreted as before."""

        folder = ""
        ended = False

        def end(self):
            self.ended = True

    copy = Copy()
    monkeypatch.setattr(workers_module, "CopyMeanwhile", lambda: copy)
    monkeypatch.setattr(workers_module, "is_built", lambda parts: False)
    monkeypatch.setattr(workers_module, "missing_tools", lambda: "")
    found = []
    with Workers(2, at_once=True) as workers:
        for number, compiled in workers.map(number_and_form, range(40), batch=1):
            found.append((number, compiled))
            copy.folder = str(tmp_path)
    assert [number for number, _ in found] == list(range(40))
    assert not found[0][1]
    assert found[-1][1]
    assert copy.ended
