"""Rides a pupil's controller in a process of its own, with limits; started by the local server.

The process reads a request from its input and writes the answer. It may compute for OWN_MAX_S, use
MEMORY_MAX_BYTES, and write no file; its parent ends it and all its children after WAIT_MAX_S.
"""

import contextlib
import json
import os
import signal
import subprocess
import sys
import tempfile
import threading
from pathlib import Path

from host_sim.lab.in_page import own_answered, table_in

OWN_MAX_S = 3
START_MAX_S = 20.0  # Until Python has loaded the bench, on a busy computer.
MEMORY_MAX_BYTES = 1 << 30
ANSWER_MAX = 1_000_000
ENDLESS = f"it did not end within {OWN_MAX_S} s: is there a loop that never ends?"
BROKEN = "it ended too early: did it need more memory than is allowed?"
_PROJECT = Path(__file__).resolve().parents[2]
_BEGUN = b"begun\n"


def own_in_process(text: str) -> str:
    """Return the answer of `in_page.own_answered`, from a separate process."""
    request = table_in(text)
    if request is None or not isinstance(request.get("code"), str):
        return own_answered(text)  # Which refuses it.
    with tempfile.TemporaryDirectory(prefix="treadle-own-") as folder:
        process = subprocess.Popen(
            [sys.executable, "-m", "host_sim.lab.own_process"],
            stdin=subprocess.PIPE, stdout=subprocess.PIPE, stderr=subprocess.DEVNULL, cwd=folder,
            env=_environment(), start_new_session=True,
        )  # fmt: skip
        try:
            return _answer_of(process, text)
        finally:
            _end(process)


def _environment() -> dict[str, str]:
    """Return the environment that a pupil's code gets: next to nothing of this computer."""
    kept = {name: os.environ[name] for name in ("SYSTEMROOT", "PATH") if name in os.environ}
    return {**kept, "PYTHONPATH": str(_PROJECT), "PYTHONDONTWRITEBYTECODE": "1", "PYTHONUTF8": "1"}


def _answer_of(process: subprocess.Popen[bytes], text: str) -> str:
    """Wait for the answer: first until the bench is there, then as long as a ride may take."""
    assert process.stdin is not None
    assert process.stdout is not None
    started = _Timer(process, START_MAX_S)
    begun = process.stdout.readline()
    started.stop()
    if begun != _BEGUN:
        return json.dumps({"refused": BROKEN})
    riding = _Timer(process, OWN_MAX_S)
    with contextlib.suppress(BrokenPipeError):
        process.stdin.write(text.encode("utf-8"))
        process.stdin.close()
    answer = process.stdout.read(ANSWER_MAX + 1)
    riding.stop()
    if riding.fired:
        return json.dumps({"refused": ENDLESS})
    told = table_in(answer) if len(answer) <= ANSWER_MAX else None
    return json.dumps({"refused": BROKEN} if told is None else told)


class _Timer:
    """Ends a process when its time is up."""

    def __init__(self, process: subprocess.Popen[bytes], seconds: float) -> None:
        self.fired = False
        self._process = process
        self._timer = threading.Timer(seconds, self._fire)
        self._timer.daemon = True
        self._timer.start()

    def _fire(self) -> None:
        self.fired = True
        _end(self._process)

    def stop(self) -> None:
        """Cancel the timer."""
        self._timer.cancel()


def _end(process: subprocess.Popen[bytes]) -> None:
    """End the process and all that it has started."""
    if hasattr(os, "killpg"):
        with contextlib.suppress(ProcessLookupError, PermissionError):
            os.killpg(process.pid, signal.SIGKILL)
    process.kill()
    process.wait()


def _limit() -> None:
    """Set limits where the system supports them; elsewhere only the time is limited."""
    try:
        import resource
    except ImportError:
        return
    for what, most in (
        (resource.RLIMIT_CPU, OWN_MAX_S + 1),
        (resource.RLIMIT_AS, MEMORY_MAX_BYTES),
        (resource.RLIMIT_FSIZE, 0),
        (resource.RLIMIT_CORE, 0),
    ):
        with contextlib.suppress(ValueError, OSError):
            resource.setrlimit(what, (most, most))


def main() -> None:
    """Read the request and ride it."""
    # Only the answer is written there; anything else that the code prints is discarded.
    out = os.fdopen(os.dup(1), "wb")
    out.write(_BEGUN)
    out.flush()
    nowhere = os.open(os.devnull, os.O_WRONLY)
    os.dup2(nowhere, 1)
    text = sys.stdin.buffer.read().decode("utf-8", "replace")
    _limit()
    out.write(own_answered(text).encode("utf-8"))
    out.flush()


if __name__ == "__main__":
    main()
