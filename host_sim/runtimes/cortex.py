"""A Cortex-M0 under QEMU with an old MicroPython and 9 kB of heap, spoken to over its serial line.

Debian's packages `qemu-system-arm` and `firmware-microbit-micropython` bring machine and MicroPython (1.9.2).
It has no room for the whole firmware, so `kernels.py` sends one room at a time.
"""

import os
import select
import shutil
import subprocess
import time
from collections.abc import Sequence
from pathlib import Path

PROGRAM = "qemu-system-arm"
IMAGE = Path("/usr/share/firmware-microbit-micropython/firmware.hex")
# The machine takes what is typed only as fast as its interrupt empties a small buffer.
PIECE_BYTES = 16
PIECE_S = 0.004
PATIENCE_S = 30.0


class CortexFailed(Exception):
    """The machine did not answer as expected; the message is what it said last."""


def why_missing() -> str:
    """Return why this machine can't be had here, or an empty text."""
    if shutil.which(PROGRAM) is None:
        return f"there is no {PROGRAM} here"
    if not IMAGE.is_file():
        return f"there is no {IMAGE.name} of firmware-microbit-micropython here"
    return ""


class Cortex:
    """One such machine, switched on. Use it as a context; it is switched off at the end."""

    def __init__(self, options: Sequence[str] = ()) -> None:
        """Boot, with further `options` for QEMU; CortexFailed if it does not come up."""
        machine = ["-M", "microbit", "-device", f"loader,file={IMAGE}"]
        quiet = ["-display", "none", "-serial", "stdio", "-monitor", "none"]
        self._process = subprocess.Popen(
            [PROGRAM, *machine, *quiet, *options],
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            stderr=subprocess.DEVNULL,
        )
        self._heard = b""
        self._until(b">>> ")
        self._type(b"\x01")
        self._until(b"raw REPL; CTRL-B to exit\r\n>")

    def __enter__(self) -> "Cortex":
        return self

    def __exit__(self, *_: object) -> None:
        self._process.kill()
        self._process.wait()

    def run(self, source: str) -> str:
        """Run `source` (ASCII, at most about 1.3 kB), return what it printed; CortexFailed if it raises."""
        self._type(source.encode("ascii") + b"\x04")
        self._until(b"OK")
        printed = self._until(b"\x04")
        complaint = self._until(b"\x04").strip()
        self._until(b">")
        if complaint:
            raise CortexFailed(complaint.decode(errors="replace").splitlines()[-1])
        return printed.decode(errors="replace").replace("\r\n", "\n")

    def _type(self, data: bytes) -> None:
        assert self._process.stdin is not None
        for start in range(0, len(data), PIECE_BYTES):
            self._process.stdin.write(data[start : start + PIECE_BYTES])
            self._process.stdin.flush()
            time.sleep(PIECE_S)

    def _until(self, ending: bytes) -> bytes:
        """Return all that comes before `ending`."""
        assert self._process.stdout is not None
        until_s = time.monotonic() + PATIENCE_S
        while ending not in self._heard:
            left_s = max(until_s - time.monotonic(), 0.0)
            ready = select.select([self._process.stdout], [], [], left_s)[0]
            data = os.read(self._process.stdout.fileno(), 4096) if ready else b""
            if not data:
                last = self._heard[-80:].decode(errors="replace")
                raise CortexFailed(f"the machine said nothing more after {last!r}")
            self._heard += data
        before, self._heard = self._heard.split(ending, 1)
        return before
