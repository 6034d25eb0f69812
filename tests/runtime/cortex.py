"""A Cortex-M0 under QEMU with an old MicroPython and 9 kB of heap, spoken to over its serial line.

Debian's packages `qemu-system-arm` and `firmware-microbit-micropython` bring machine and MicroPython (1.9.2).
The whole firmware does not fit, so `kernels.py` sends one component at a time.
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
# So much is typed before its echo is waited for: the machine has a small buffer and loses what does not fit.
PIECE_BYTES = 16
PATIENCE_S = 30.0
PASTE, FINISH = b"\x05", b"\x04"
ERROR = "Traceback (most recent call last):"


class CortexFailed(Exception):
    """The machine did not answer as expected; the message is what it said last."""


class OutOfMemory(CortexFailed):
    """The script did not fit into what the collector had left."""


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

    def __enter__(self) -> "Cortex":
        return self

    def __exit__(self, *_: object) -> None:
        self._process.kill()
        self._process.wait()

    def run(self, source: str) -> str:
        """Run `source` (ASCII, at most about 1.3 kB), return what it printed; CortexFailed if it raises."""
        self._type(PASTE, b"=== ")
        data = source.encode("ascii")
        for start in range(0, len(data), PIECE_BYTES):
            piece = data[start : start + PIECE_BYTES]
            self._type(piece, piece)
        self._type(FINISH, b"\r\n")
        printed = self._until(b">>> ").decode(errors="replace").replace("\r\n", "\n")
        if ERROR in printed:
            last = printed.strip().splitlines()[-1]
            raise (OutOfMemory if last.startswith("MemoryError") else CortexFailed)(last)
        return printed

    def _type(self, data: bytes, answer: bytes) -> None:
        """Type something, and wait for what the machine answers to it."""
        assert self._process.stdin is not None
        self._process.stdin.write(data)
        self._process.stdin.flush()
        self._until(answer)

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
