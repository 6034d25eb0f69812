"""Finds functions whose frame MicroPython takes from the heap.

A frame is a function's arguments, variables and the deepest stack of its expressions, in words. Up to
11 words lie on the C stack; a larger frame is borrowed from the heap for the time of the call, if the heap
has room and is not locked, else it lies on the C stack too (`py/objfun.c` and `py/vm.c` of MicroPython).
So a locked heap does not show it, and yet each such call searches the heap: between 13,000 and 60,000 units
of fuel were seen, as the heap lay, on top of what fuel.py counts.
"""

import re
import subprocess
from pathlib import Path

from host_sim.compiled.build import ROOT
from tests.runtime.runners import micropython_program

STACK_WORDS = 11
NOT_IN_EVERY_PERIOD = (
    *(f"firmware/link/{name}.py" for name in ("console", "lines", "payload", "place", "store")),
    "firmware/loop.py",
    "firmware/settings.py",
)
ONCE = ("<module>", "__init__")
_BLOCK = re.compile(r"code block '([^']+)'.*?\(N_STATE (\d+)\)", re.DOTALL)


class Frame:
    """A function's frame: `file`, `function`, `words`."""

    def __init__(self, file: str, function: str, words: int) -> None:
        """Name it."""
        self.file = file
        self.function = function
        self.words = words

    def __str__(self) -> str:
        return f"{self.file} {self.function} ({self.words} words)"


def why_missing() -> str:
    """Return why frames can't be looked at here, or an empty text."""
    return "" if micropython_program() else "there is no micropython for this machine"


def frames_of(path: Path) -> list[tuple[str, int]]:
    """Return every function of a file and the words of its frame, as MicroPython compiles it."""
    command = [micropython_program(), "-X", "compile-only", "-v", "-v", "-v", "-v", str(path)]
    done = subprocess.run(command, capture_output=True, check=True)
    text = done.stdout.decode(errors="replace")
    return [(name, int(words)) for name, words in _BLOCK.findall(text)]


def heap_frames() -> list[Frame]:
    """Return the functions of every period, step and recorder, that take their frame from the heap."""
    found = []
    for path in sorted((ROOT / "firmware").rglob("*.py")):
        file = path.relative_to(ROOT).as_posix()
        if file.startswith(NOT_IN_EVERY_PERIOD):
            continue
        for function, words in frames_of(path):
            if words > STACK_WORDS and function not in ONCE:
                found.append(Frame(file, function, words))
    return found
