"""Checks that a step allocates no memory: runs it under a 32-bit MicroPython with its heap locked."""

import json
from pathlib import Path

from host_sim.compiled.build import ROOT
from host_sim.testing import wasm

SCRIPT = "/project/host_sim/testing/heap_run.py"


def assert_no_allocation(file: Path | str, name: str, *, steps: int = 2_000, **settings: int) -> int:
    """Fail if class `name` in `file` allocates memory in a step, or does not run under MicroPython at all.

    A MicroPython with 32-bit words imports the file, as part of its package if it is in one. It builds the
    class from the default settings changed by `settings`, and runs `steps` steps of riding, resting and going
    backward with the heap locked. Returns the number of steps that drove. RuntimeError says what is missing
    to run it.
    """
    missing = wasm.why_missing()
    if missing:
        raise RuntimeError(f"there is no 32-bit MicroPython here: {missing}; install treadle[testing]")
    path = Path(file).resolve()
    module, folder = path.stem, path.parent
    while (folder / "__init__.py").exists():
        module, folder = f"{folder.name}.{module}", folder.parent
    arguments = [module, name, str(steps), json.dumps(settings)]
    folders = {ROOT: "/project", folder: "/mine"}
    try:
        printed, _ = wasm.run_script(SCRIPT, arguments, folders, "/project:/mine")
    except wasm.GuestFailed as failure:
        raise AssertionError(f"{name} in {path.name} under MicroPython: {failure}") from None
    return int(printed.split()[-1])
