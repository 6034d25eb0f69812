"""The runtimes that replay whole traces, all behind one method."""

import os
import shutil
import subprocess
import sys
from pathlib import Path

from host_sim.compiled.build import ROOT, CannotCompile, compiled_copy, missing_tools
from host_sim.testing import wasm

REPLAY = ROOT / "host_sim/forms/replay.py"
REPLAY_VECTORS = Path(__file__).with_name("replay_vectors.py")
HEAP_64_BIT = {
    REPLAY: "192K",  # As much as a Pico has to give.
    REPLAY_VECTORS: "256K",  # With all lemmas; a word takes twice the memory of a word on a Pico.
}
HEAP_32_BIT = {
    REPLAY: "16M",
    REPLAY_VECTORS: "128M",
}  # The collector stays off, so all that is taken must fit.


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


class ReplayedVectors:
    """What a file of vectors gave: `vectors`, `outcomes`, `differences`, `digest`; see replay_vectors.py.

    `complaints` are the lines about the first differences.
    """

    def __init__(self, text: str) -> None:
        """Read all that was printed; the last line is the totals."""
        *self.complaints, totals = text.splitlines()
        words = totals.split()
        values = dict(zip(words[1::2], words[2::2], strict=True))
        self.vectors = int(values["vectors"])
        self.outcomes = int(values["outcomes"])
        self.differences = int(values["differences"])
        self.digest = int(values["digest"], 16)


class Runtime:
    """Something that runs the firmware. `title` is for people; `counts_memory`: it locks its heap."""

    title = ""
    counts_memory = False

    def why_missing(self) -> str:
        """Return why it can't run here, or an empty text."""
        return ""

    def replay(self, traces: list[Path]) -> list[Replayed]:
        """Replay traces that lie in one folder, in this order; ReplayFailed if that can't be done."""
        return _read(self._print(REPLAY, traces))

    def replay_vectors(self, vectors: Path) -> ReplayedVectors:
        """Replay a file of path vectors; ReplayFailed if that can't be done."""
        return ReplayedVectors(self._print(REPLAY_VECTORS, [vectors]))

    def _print(self, script: Path, files: list[Path]) -> str:
        """Return what `script` prints about files that lie in one folder."""
        raise NotImplementedError


class CPython(Runtime):
    """The Python that runs this, on the firmware's source files."""

    title = "CPython"

    def _print(self, script: Path, files: list[Path]) -> str:
        return _run([sys.executable, "-P", str(script)], "PYTHONPATH", str(ROOT), files)


class Compiled(Runtime):
    """The same, with the firmware compiled by mypyc as it is."""

    title = "compiled by mypyc"

    def why_missing(self) -> str:
        """Return why it can't run here, or an empty text."""
        return missing_tools()

    def _print(self, script: Path, files: list[Path]) -> str:
        try:
            copy = compiled_copy()
        except CannotCompile as reason:
            raise ReplayFailed(str(reason)) from None
        # The copy has the whole firmware, and the lemmas are found behind it.
        path = f"{copy}{os.pathsep}{ROOT}"
        return _run([sys.executable, "-P", str(script)], "PYTHONPATH", path, files)


class MicroPython64(Runtime):
    """MicroPython for Unix, 64-bit words, its real collector, as little memory as a microcontroller has."""

    title = "MicroPython, 64-bit"
    counts_memory = True

    def why_missing(self) -> str:
        """Return why it can't run here, or an empty text."""
        return "" if micropython_program() else "there is no micropython for this machine"

    def _print(self, script: Path, files: list[Path]) -> str:
        command = [micropython_program(), "-X", f"heapsize={HEAP_64_BIT[script]}", str(script)]
        return _run(command, "MICROPYPATH", str(ROOT), files)


class MicroPython32(Runtime):
    """MicroPython in WebAssembly: 32-bit words and 31-bit small integers, as on a microcontroller."""

    title = "MicroPython, 32-bit"
    counts_memory = True

    def why_missing(self) -> str:
        """Return why it can't run here, or an empty text."""
        return wasm.why_missing()

    def _print(self, script: Path, files: list[Path]) -> str:
        inside = f"/project/{script.relative_to(ROOT).as_posix()}"
        arguments = ["--no-collector", *(f"/files/{file.name}" for file in files)]
        folders = {ROOT: "/project", files[0].parent: "/files"}
        try:
            return wasm.run_script(inside, arguments, folders, "/project", HEAP_32_BIT[script])[0]
        except wasm.GuestFailed as failure:
            raise ReplayFailed(str(failure)) from None


def all_runtimes() -> list[Runtime]:
    """Return the runtimes, CPython first."""
    return [CPython(), Compiled(), MicroPython64(), MicroPython32()]


def micropython_program() -> str:
    """Return the MicroPython program of this environment, or an empty text."""
    found = shutil.which("micropython", path=str(Path(sys.executable).parent))
    return found or shutil.which("micropython") or ""


def _run(command: list[str], path_variable: str, path: str, files: list[Path]) -> str:
    environment = {**os.environ, path_variable: path}
    command = [*command, *(str(file) for file in files)]
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
