"""The lab as a program of its own, the export, and a browser beside them."""

import functools
import os
import shutil
import signal
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from host_sim.errors import RequestError
from host_sim.lab.export import Export

ROOT = Path(__file__).resolve().parents[2]
PATIENCE_S = 120.0  # On a busy computer.
CHROMIUM = shutil.which("chromium") or shutil.which("chromium-browser")
QUIET = (
    "--headless", "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run", "--disable-sync",
    "--disable-background-networking", "--disable-component-update",
)  # fmt: skip


@contextmanager
def lab_program(*arguments: str) -> Iterator[tuple[subprocess.Popen[str], str]]:
    """Start `treadle lab` and give the process and the address it printed; interrupt it at the end."""
    program = subprocess.Popen(
        [sys.executable, "-c", "from host_sim.cli import main; main()", "lab", "--no-browser", *arguments],
        stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True,
        env={**os.environ, "PYTHONPATH": str(ROOT)},
    )  # fmt: skip
    try:
        assert program.stdout is not None
        yield program, program.stdout.readline().split(" until ")[0].removeprefix("The lab is at ")
    finally:
        if program.poll() is None:
            program.send_signal(signal.SIGINT)
            try:
                program.communicate(timeout=PATIENCE_S)
            except subprocess.TimeoutExpired:
                program.kill()
                program.communicate()
                raise AssertionError("the lab did not end when it was interrupted") from None


@functools.lru_cache(maxsize=1)
def runtime_missing() -> str:
    """Return why no export can be made here; empty if one can."""
    try:
        Export(Path("/nonexistent/lab"), None)
    except RequestError as error:
        return str(error)
    return ""


def until(page, script, argument=None):
    """Wait until a script in the page gives something true, and return it.

    Playwright's own waiting for a function wants `eval` in the page, which the page's policy forbids.
    """
    end_s = time.monotonic() + PATIENCE_S
    while time.monotonic() < end_s:
        value = page.evaluate(script, argument)
        if value:
            return value
        page.wait_for_timeout(20)
    raise AssertionError(f"this did not become true: {script}")
