"""A board on a pseudo-terminal: plug it in, talk to it with the real mpremote, pull it out half-way."""

import os
import subprocess
import threading
import tty
from pathlib import Path

from tests.micropython_unix import ROOT, micropython_unix

RESTART = 77
PATIENCE_S = 120.0  # On a busy computer.
# What sys.implementation.name, sys.platform, the version, the machine and the bytecode's version are.
PICO = ("micropython", "rp2", "1.28.0", "Raspberry Pi Pico with RP2040", "4102")


class PluggedBoard:
    """`tests/raw_board.py` behind a port. Use it in a `with`; `disk` outlives it, as flash does."""

    def __init__(
        self,
        disk: Path,
        what: tuple[str, str, str, str, str] = PICO,
        kind: str = "littlefs",
        blocks: int = 352,
        ride: bool = False,
    ) -> None:
        """Take a flash, which is made if it is not there, and what the board calls itself."""
        self.disk = disk
        if not disk.exists():
            disk.write_bytes(bytes(blocks * (512 if kind == "fat" else 4096)))
        self._command = [
            *(micropython_unix(), "-X", "heapsize=4M", str(ROOT / "tests" / "raw_board.py"), str(disk)),
            *(kind, str(blocks), *what, "ride" if ride else "prompt"),
        ]
        self.restarts = 0
        self._power = threading.Lock()  # So that no board is started while the plug is pulled.

    def __enter__(self) -> "PluggedBoard":
        self._master, self._slave = os.openpty()
        tty.setraw(self._slave)
        self.port = os.ttyname(self._slave)
        self._pulled = False
        self._process = self._start()
        self._keeper = threading.Thread(target=self._keep, daemon=True)
        self._keeper.start()
        return self

    def _start(self) -> "subprocess.Popen[bytes]":
        return subprocess.Popen(self._command, stdin=self._master, stdout=self._master)

    def _keep(self) -> None:
        """Start the board again whenever it resets."""
        while self._process.wait() == RESTART:
            with self._power:
                if self._pulled:
                    return
                self.restarts += 1
                self._process = self._start()

    def pull(self) -> None:
        """Pull the plug: the power and the line are gone at once."""
        with self._power:
            if self._pulled:
                return
            self._pulled = True
            self._process.kill()
        self._keeper.join(timeout=PATIENCE_S)
        assert not self._keeper.is_alive()
        os.close(self._master)

    def __exit__(self, *_: object) -> None:
        self.pull()
        os.close(self._slave)
