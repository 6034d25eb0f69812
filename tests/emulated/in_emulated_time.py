"""Runs treadle by the clock of an emulated board, so that its limits of time count emulated seconds.

    python in_emulated_time.py CLOCK WORDS…

CLOCK is the file into which `live_pico.py` writes the seconds that the board has run. Without this an
emulated board, which is slower than the wall clock, would seem to be silent; and whether it does would
depend on the speed of this computer. No limit is changed, only whose seconds it counts.
"""

import mmap
import select
import struct
import subprocess  # noqa: F401 - keeps the clock that it has at its import, as threading does
import sys
import threading
import time
from collections.abc import Callable
from functools import partial
from typing import Any

PAUSE_S = 0.002


def count_emulated_seconds(clock: str) -> None:
    """Let `time.monotonic`, `time.sleep`, `select.select` and timers go by the file `clock`."""
    pause, selected = time.sleep, select.select
    with open(clock, "rb") as file:
        view = mmap.mmap(file.fileno(), 8, access=mmap.ACCESS_READ)

    def now_s() -> float:
        return float(struct.unpack("d", view[:8])[0])

    def sleep(seconds: float) -> None:
        end_s = now_s() + seconds
        while now_s() < end_s:
            pause(PAUSE_S)

    def wait(reading: Any, writing: Any, other: Any, timeout: float | None = None) -> Any:
        if timeout is None:
            return selected(reading, writing, other)
        end_s = now_s() + timeout
        while True:
            ready = selected(reading, writing, other, min(timeout, PAUSE_S))
            if any(ready) or now_s() >= end_s:
                return ready

    class Timer(threading.Timer):
        def run(self) -> None:
            end_s = now_s() + self.interval
            while not self.finished.wait(0.05):
                if now_s() >= end_s:
                    self.function(*self.args, **self.kwargs)
                    self.finished.set()

    # pyserial keeps the clock in a class, where a function would become a method.
    patched: list[tuple[Any, str, Callable[..., Any]]] = [
        (time, "monotonic", partial(now_s)),
        (time, "sleep", sleep),
        (select, "select", wait),
        (threading, "Timer", Timer),
    ]
    for module, name, ours in patched:
        setattr(module, name, ours)


if __name__ == "__main__":
    count_emulated_seconds(sys.argv[1])
    sys.argv[:] = ["treadle", *sys.argv[2:]]
    sys.path.pop(0)  # The folder of this file, whose modules nobody here wants.
    from host_sim.cli import main

    main()
