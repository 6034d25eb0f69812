"""Runs the kernels on the Cortex-M0 and on CPython, and compares."""

from collections.abc import Callable
from contextlib import suppress
from pathlib import Path
from typing import Any

from firmware.drive.power_loop import PowerLoop
from firmware.drive.slew_limiter import SlewLimiter
from firmware.integers import clamp, fading_permille, rising_permille
from firmware.sense.crank import Crank
from firmware.sense.rotation import Rotation, Wheel
from firmware.ticks import ticks_add_us, ticks_diff_us
from tests.runtime.cortex import Cortex, OutOfMemory
from tests.runtime.kernel_source import pieces_of, shortened
from tests.runtime.kernel_vectors import VectorScript
from tests.runtime.kernels import FOLD, INTEGER_LINES, INTEGER_MODULES, INTEGERS, KERNELS, script_of

CHUNK_CHARACTERS = 60
# With the crank's code there, 3 kB of heap are left: enough for its calls, not for the lines of its paths.
TOO_LARGE_FOR_PATHS = ("crank",)
TOO_LITTLE = "too little memory for them"
TRIES = 4


def chunks(lines: list[str]) -> list[str]:
    """Return the lines in chunks that a small heap can compile, each printing what it has come to."""
    found: list[str] = []
    chunk = ""
    for line in lines:
        if len(chunk) + len(line) > CHUNK_CHARACTERS:
            found.append(chunk + "print(d)")
            chunk = ""
        chunk += line + "\n"
    return [*found, chunk + "print(d)"]


def on_cpython(setup: list[str], lines: list[str]) -> list[str]:
    """Return what the lines print on CPython, with the real modules behind them."""
    printed: list[str] = []
    known: list[Callable[..., Any]] = [SlewLimiter, PowerLoop, Crank, Wheel, Rotation]
    known += [ticks_add_us, ticks_diff_us]
    known += [clamp, fading_permille, rising_permille]
    names: dict[str, Any] = {thing.__name__: thing for thing in known}
    names["print"] = lambda value: printed.append(str(value))
    for source in setup + chunks(lines):
        exec(source, names)
    return printed


def on_cortex(modules: list[str], setup: list[str], lines: list[str]) -> list[str]:
    """Return what the lines print on the Cortex-M0, after the modules' source has been sent.

    The machine's collector takes any word on the stack for an address, so what it frees depends on when
    letters arrive: a machine whose memory ran out is replaced by a fresh one, TRIES times.
    """
    for _ in range(TRIES - 1):
        with suppress(OutOfMemory):
            return _on_one_cortex(modules, setup, lines)
    return _on_one_cortex(modules, setup, lines)


def _on_one_cortex(modules: list[str], setup: list[str], lines: list[str]) -> list[str]:
    printed: list[str] = []
    with Cortex() as cortex:
        for module in modules:
            for piece in pieces_of(module):
                cortex.run(f"{piece}\n")
                cortex.run("import gc;gc.collect()\n")
        for source in setup:
            cortex.run(f"{shortened(source)}\n")
        for chunk in chunks(lines):
            printed += cortex.run(f"{shortened(chunk)}\ngc.collect()\n").split()
    return printed


class KernelResult:
    """What became of one kernel.

    Read: `name`; `calls` as in a ride and `equal`; `vectors` and `vectors_equal`, or why there are none.
    """

    def __init__(
        self, name: str, modules: list[str], setup: list[str], lines: list[str], vectors: VectorScript | str
    ) -> None:
        """Run it on both sides; cortex.CortexFailed if the machine does not do it."""
        self.name = name
        self.calls = len(lines)
        self.equal = _agrees(modules, setup, lines)
        self.vectors: int | str = vectors if isinstance(vectors, str) else vectors.vectors
        self.vectors_equal = isinstance(vectors, str) or _agrees(
            modules, [*vectors.setup, FOLD], vectors.lines
        )


def _agrees(modules: list[str], setup: list[str], lines: list[str]) -> bool:
    """Tell whether the Cortex-M0 prints what CPython prints."""
    return on_cortex(modules, setup, lines) == on_cpython(setup, lines)


def run_kernels(trace: Path, vectors: Path | str) -> list[KernelResult]:
    """Run every kernel on the Cortex-M0, with calls as in the first life of a trace that crosses the wrap.

    And down the paths of `vectors`, a file, or the reason why there is none.
    """

    def script(kernel: str, needs: list[str]) -> VectorScript | str:
        return vectors if isinstance(vectors, str) else VectorScript(kernel, needs, vectors)

    results = [KernelResult(INTEGERS, INTEGER_MODULES, [FOLD], INTEGER_LINES, script(INTEGERS, []))]
    for kernel in KERNELS:
        paths = script(kernel.name, kernel.needs) if kernel.name not in TOO_LARGE_FOR_PATHS else TOO_LITTLE
        results.append(KernelResult(kernel.name, kernel.modules, *script_of(kernel, trace), paths))
    return results
