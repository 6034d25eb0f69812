"""The lab as a program of its own, and a browser beside it."""

import os
import shutil
import signal
import subprocess
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

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
