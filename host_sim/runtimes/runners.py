"""The runtimes that replay whole traces, all behind one method."""

import os
import shutil
import subprocess
import sys
from pathlib import Path

from host_sim.runtimes import wasm
from host_sim.runtimes.compiled import ROOT, CannotCompile, compiled_copy, missing_tools

REPLAY = Path(__file__).with_name("replay.py")
HEAP_64_BIT = "192K"  # As much as a Pico has to give.


class ReplayFailed(Exception):
    """A runtime did not get through its traces; the message is what it said last."""


class Replayed:
    """What one trace gave: `name`, `steps`, `edges`, `differences`, `allocations`, `digest`; see replay.py.

    `complaints` are the lines about the first differences.
    """

    def __init__(self, totals: str, complaints: list[str]) -> None:
        """Read the line of totals."""
        words = totals.split()
        self.name = words[0]
        values = dict(zip(words[1::2], words[2::2], strict=True))
        self.steps = int(values["steps"])
        self.edges = int(values["edges"])
        self.differences = int(values["differences"])
        self.allocations = int(values["allocations"])
        self.digest = int(values["digest"], 16)
        self.complaints = complaints


class Runtime:
    """Something that runs the firmware. `title` is for people; `counts_memory`: it locks its heap."""

    title = ""
    counts_memory = False

    def why_missing(self) -> str:
        """Return why it can't run here, or an empty text."""
        return ""

    def replay(self, traces: list[Path]) -> list[Replayed]:
        """Replay traces that lie in one folder, in this order; ReplayFailed if that can't be done."""
        return _read(self._print_replay(traces))

    def _print_replay(self, traces: list[Path]) -> str:
        raise NotImplementedError


class CPython(Runtime):
    """The Python that runs this, on the firmware's source files."""

    title = "CPython"

    def _print_replay(self, traces: list[Path]) -> str:
        return _run([sys.executable, "-P"], "PYTHONPATH", ROOT, traces)


class Compiled(Runtime):
    """The same, with the firmware compiled by mypyc as it is."""

    title = "compiled by mypyc"

    def why_missing(self) -> str:
        """Return why it can't run here, or an empty text."""
        return missing_tools()

    def _print_replay(self, traces: list[Path]) -> str:
        try:
            copy = compiled_copy()
        except CannotCompile as reason:
            raise ReplayFailed(str(reason)) from None
        return _run([sys.executable, "-P"], "PYTHONPATH", copy, traces)


class MicroPython64(Runtime):
    """MicroPython for Unix, 64-bit words, its real collector, as little memory as a microcontroller has."""

    title = "MicroPython, 64-bit"
    counts_memory = True

    def why_missing(self) -> str:
        """Return why it can't run here, or an empty text."""
        return "" if micropython_program() else "there is no micropython for this machine"

    def _print_replay(self, traces: list[Path]) -> str:
        command = [micropython_program(), "-X", f"heapsize={HEAP_64_BIT}"]
        return _run(command, "MICROPYPATH", ROOT, traces)


class MicroPython32(Runtime):
    """MicroPython in WebAssembly: 32-bit words and 31-bit small integers, as on a microcontroller."""

    title = "MicroPython, 32-bit"
    counts_memory = True

    def why_missing(self) -> str:
        """Return why it can't run here, or an empty text."""
        return wasm.why_missing()

    def _print_replay(self, traces: list[Path]) -> str:
        script = f"/project/{REPLAY.relative_to(ROOT).as_posix()}"
        arguments = ["--no-collector", *(f"/traces/{trace.name}" for trace in traces)]
        try:
            return wasm.run_script(
                script, arguments, {ROOT: "/project", traces[0].parent: "/traces"}, "/project"
            )[0]
        except wasm.GuestFailed as failure:
            raise ReplayFailed(str(failure)) from None


def all_runtimes() -> list[Runtime]:
    """Return the runtimes, CPython first."""
    return [CPython(), Compiled(), MicroPython64(), MicroPython32()]


def micropython_program() -> str:
    """Return the MicroPython program of this environment, or an empty text."""
    found = shutil.which("micropython", path=str(Path(sys.executable).parent))
    return found or shutil.which("micropython") or ""


def _run(command: list[str], path_variable: str, path: Path, traces: list[Path]) -> str:
    environment = {**os.environ, path_variable: str(path)}
    command = [*command, str(REPLAY), *(str(trace) for trace in traces)]
    done = subprocess.run(command, env=environment, capture_output=True, text=True, check=False)
    if done.returncode != 0:
        said = (done.stderr or done.stdout).strip().splitlines()
        raise ReplayFailed(said[-1] if said else f"it ended with code {done.returncode}")
    return done.stdout


def _read(text: str) -> list[Replayed]:
    replayed = []
    complaints: list[str] = []
    for line in text.splitlines():
        if line.startswith("step "):
            complaints.append(line)
        else:
            replayed.append(Replayed(line, complaints))
            complaints = []
    return replayed
