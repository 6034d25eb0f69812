"""A compiler whose owner is killed outright ends, with all that it has started and what lay half made."""

import os
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest

from host_sim.compiled.build import CannotCompile, compiled_copy
from host_sim.compiled.guarded import HAS_SESSIONS, Guarded

pytestmark = pytest.mark.skipif(not HAS_SESSIONS, reason="sessions of processes are POSIX")
ROOT = Path(__file__).resolve().parents[2]
GIVE_UP_S = 120.0  # Nothing here takes a second on a machine without other work.


def until(what, told):
    """Wait until `what()` is true; fail if it never is."""
    end_s = time.monotonic() + GIVE_UP_S
    while not what():
        assert time.monotonic() < end_s, told
        time.sleep(0.02)


def runs(process):
    """Whether a process is there and no zombie."""
    try:
        state = Path(f"/proc/{process}/stat").read_text(encoding="utf-8").rsplit(")", 1)[1].split()[0]
    except OSError:
        return False
    return state != "Z"


def endless_compiler(folder):
    """Write a C compiler that never ends; return it and where it writes its process."""
    told, program = folder / "told", folder / "cc"
    program.write_text(f"#!/bin/sh\nsleep 1000 &\necho $$ $! > {told}.part\nmv {told}.part {told}\nwait\n")
    program.chmod(0o755)
    return program, told


@pytest.mark.parametrize("how", [signal.SIGKILL, signal.SIGTERM, signal.SIGINT])
def test_a_compiler_is_no_orphan_however_its_owner_ends(tmp_path, how):
    if not Path("/proc/self/stat").exists():
        pytest.skip("/proc tells which processes there are")
    compiler, told = endless_compiler(tmp_path)
    cache = tmp_path / "cache"
    environment = {**os.environ, "CC": str(compiler), "TREADLE_CACHE": str(cache), "PYTHONPATH": str(ROOT)}
    program = "from host_sim.compiled.build import compiled_copy; compiled_copy(('firmware/ticks.py',))"
    owner = subprocess.Popen([sys.executable, "-c", program], env=environment, stderr=subprocess.DEVNULL)
    until(told.exists, "the compiler was never started")
    started = [int(process) for process in told.read_text().split()]
    assert all(runs(process) for process in started)
    owner.send_signal(how)
    owner.wait()
    until(lambda: not any(runs(process) for process in started), "the compiler goes on without an owner")
    until(lambda: list(cache.iterdir()) == [], "half a copy lies in the cache")


def test_what_ends_by_itself_ends_with_its_own_code_and_its_words_are_kept(tmp_path):
    log = tmp_path / "log"
    half_made = tmp_path / "half"
    half_made.mkdir()
    command = [sys.executable, "-c", "import sys; print('said'); sys.exit(3)"]
    assert Guarded(command, tmp_path, dict(os.environ), log, str(half_made)).wait() == 3
    assert log.read_text() == "said\n"
    assert half_made.is_dir()


def test_what_is_guarded_reads_nothing(tmp_path):
    log = tmp_path / "log"
    command = [sys.executable, "-c", "import sys; print(repr(sys.stdin.read()))"]
    assert Guarded(command, tmp_path, dict(os.environ), log).wait() == 0
    assert log.read_text() == "''\n"


def test_a_program_that_is_ended_takes_its_half_made_folder_along(tmp_path):
    half_made = tmp_path / "half"
    half_made.mkdir()
    ready = half_made / "ready"
    code = f"import time; open({str(ready)!r}, 'w').close(); time.sleep(1000)"
    running = Guarded(
        [sys.executable, "-c", code], tmp_path, dict(os.environ), tmp_path / "log", str(half_made)
    )
    until(ready.exists, "it was never started")
    running.end()
    assert not half_made.exists()


@pytest.mark.long
def test_a_compiler_that_fails_is_told_in_one_sentence(tmp_path, monkeypatch):
    failing = tmp_path / "cc"
    failing.write_text("#!/bin/sh\necho no space left >&2\nexit 1\n")
    failing.chmod(0o755)
    monkeypatch.setenv("CC", str(failing))
    monkeypatch.setenv("TREADLE_CACHE", str(tmp_path / "cache"))
    with pytest.raises(CannotCompile, match="there is no compiled copy: mypyc ended with code 1, ") as told:
        compiled_copy(("firmware/ticks.py",))
    assert "\n" not in str(told.value)
    assert list((tmp_path / "cache").iterdir()) == []
