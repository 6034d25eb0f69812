"""Why a step costs what it costs: how many functions it calls, and what the call of an empty one costs.

Both are counts, the same in every run: calls by CPython's profiler, fuel by WebAssembly.
"""

import sys
import tempfile
from pathlib import Path
from statistics import median
from types import FrameType

from firmware.controller import Controller
from firmware.records import Inputs, Outputs
from host_sim.compiled.build import ROOT
from host_sim.forms.replay import Replay, kind_of_step
from host_sim.testing import wasm

ROUNDS = 1_000
_EMPTY_CALLS = """
from host import call
class Component:
    def look(self):
        pass
def rounds(component):
    call("", "")
    for _ in range({rounds}):
        pass
    call("", "")
    for _ in range({rounds}):
        component.look()
    call("", "")
rounds(Component())
"""


class Calls:
    """What calls come to. Read: `per_step` (of a step that drives, the median), `fuel` (of an empty one)."""

    def __init__(self, trace: Path) -> None:
        """Count over one golden trace; wasm.GuestFailed if the fuel can't be counted."""
        self.per_step = calls_per_step(trace)
        self.fuel = fuel_of_an_empty_call()


class CountingReplay(Replay):
    """A replay that counts calls. Read: `calls`, of each step that drives."""

    calls: list[int]

    def step(self, controller: Controller, inputs: Inputs, now_us: int) -> Outputs:
        """Take one step, with its calls counted: the step itself and all that it calls in turn."""
        count = 0

        def look(_: FrameType, event: str, __: object) -> None:
            nonlocal count
            count += event == "call"

        sys.setprofile(look)
        outputs = controller.step(inputs, now_us)
        sys.setprofile(None)
        if kind_of_step(controller) == "d":
            self.calls.append(count)
        return outputs


def calls_per_step(trace: Path) -> int:
    """Return how many calls of functions and methods a step that drives is: the median of a golden trace.

    The step itself is one; what the language has built in is not counted.
    """
    with trace.open("rb") as file:
        replay = CountingReplay(file)
        replay.calls = []
        replay.run()
    return round(median(replay.calls))


def fuel_of_an_empty_call() -> int:
    """Return what the call of an empty method costs on the 32-bit MicroPython."""
    with tempfile.TemporaryDirectory() as folder:
        Path(folder, "calls.py").write_text(_EMPTY_CALLS.format(rounds=ROUNDS), encoding="ascii")
        folders = {ROOT: "/project", Path(folder): "/here"}
        _, (begin, middle, end) = wasm.run_script("/here/calls.py", [], folders, "/project")
    return round((end - middle - (middle - begin)) / ROUNDS)
