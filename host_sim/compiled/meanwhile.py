"""Compiles the bench while rides continue interpreted, with the same results."""

import os
import sys
from pathlib import Path
from tempfile import TemporaryDirectory
from threading import Thread

from host_sim.compiled.build import HOT, ROOT, CannotCompile, compiled_copy
from host_sim.compiled.guarded import Guarded

_PROGRAM = "from host_sim.compiled.build import compiled_copy; compiled_copy()"


class CopyMeanwhile:
    """A compilation that has begun. Read: `folder`, "" until the copy is there; it stays so without one."""

    def __init__(self) -> None:
        """Begin."""
        self.folder = ""
        self._scratch = TemporaryDirectory(prefix="treadle-compiling-", ignore_cleanup_errors=True)
        environment = {**os.environ, "PYTHONPATH": str(ROOT)}
        scratch = Path(self._scratch.name)
        self._running = Guarded([sys.executable, "-P", "-c", _PROGRAM], scratch, environment, scratch / "log")
        self._waiting = Thread(target=self._wait, daemon=True)
        self._waiting.start()

    def _wait(self) -> None:
        if self._running.wait() == 0:
            try:
                self.folder = str(compiled_copy(HOT))
            except CannotCompile:
                return  # Rides continue interpreted.

    def end(self) -> None:
        """End the compilation, finished or not."""
        self._running.end()
        self._waiting.join()
        self._scratch.cleanup()
