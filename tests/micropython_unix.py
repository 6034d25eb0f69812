"""Runs a script under the MicroPython unix port, which the dev group installs where there is a wheel."""

import shutil
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[1]


def micropython_unix() -> str:
    """Return the program, or skip the test with the reason."""
    beside = Path(sys.executable).with_name("micropython")
    found = str(beside) if beside.exists() else shutil.which("micropython")
    if found is None:
        pytest.skip("there is no MicroPython unix port here: its wheels are for Linux x86-64 and macOS arm64")
    return found


def run(*words: str, given: bytes = b"", heap: str = "1M") -> bytes:
    """Run `micropython WORDS` from the project's root and return what it printed; fail if it fails."""
    command = [micropython_unix(), "-X", "heapsize=" + heap, *words]
    done = subprocess.run(command, cwd=ROOT, input=given, capture_output=True, timeout=120, check=False)
    assert done.returncode == 0, (done.stdout[-2000:] + done.stderr[-2000:]).decode("ascii", "replace")
    return done.stdout
