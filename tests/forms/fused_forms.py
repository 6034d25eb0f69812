"""Generated modules for tests: on CPython with the decorators stubbed, or written for a MicroPython."""

import sys
from pathlib import Path
from types import ModuleType

from host_sim.forms.viper.firmware import fused_firmware
from host_sim.forms.viper.module import Fused
from tests.micropython_unix import ROOT, run

HERE = Path(__file__).parent


class LoopsTooLong(Exception):
    """A loop went round more often than a test allows."""


def loaded(fused: Fused, loops_most: int = 0) -> ModuleType:
    """Return the generated module on this Python; its loops may turn `loops_most` times, if that is not 0."""
    source = fused.source
    sys.path.insert(0, str(HERE / "stub"))
    module = ModuleType("fused_controller")
    if loops_most:
        turns = iter(range(loops_most))
        source = source.replace("while True:", "while _turn():")
        module.__dict__["_turn"] = lambda: next(turns, None) is not None or _stop()
    exec(compile(source, "fused_controller.py", "exec"), module.__dict__)
    return module


def _stop() -> bool:
    raise LoopsTooLong


def written(folder: Path) -> None:
    """Write the module for a 64-bit MicroPython, and the places of its numbers, into a folder."""
    fused = fused_firmware(wide=True)
    (folder / "fused_controller.py").write_text(fused.source)
    (folder / "fused_places.py").write_text(f"PLACES = {tuple(fused.cells.items())}\n")


def on_micropython(folder: Path, script: str) -> str:
    """Run a script that finds the firmware, what lies in `folder` and lives.py; return what it prints."""
    file = folder / "script.py"
    file.write_text(f"import sys\nsys.path[:0] = {[str(folder), str(HERE), str(ROOT)]}\n{script}")
    return run(str(file), heap="16M").decode().strip()
