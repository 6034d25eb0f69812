"""Mutants of the firmware for the proofs: how they are made, and in which order they are tried."""

import re
import tempfile
from contextlib import chdir
from pathlib import Path
from typing import Any

import libcst as cst
from libcst.metadata import MetadataWrapper, PositionProvider
from mutmut.configuration import config
from mutmut.mutation.file_mutation import create_mutations

ROOT = Path(__file__).resolve().parents[2]
FILES = (
    "controller.py",
    "integers.py",
    "records.py",
    "settings.py",
    "ticks.py",
    *(f"decide/{name}.py" for name in ("ceilings", "engagement", "events", "pedalling", "request")),
    *(f"drive/{name}.py" for name in ("feed_forward", "power_loop", "slew_limiter")),
    *(f"guard/{name}.py" for name in ("faults", "output_guard", "plausibility")),
    *(f"sense/{name}.py" for name in ("crank", "levers", "motor_model", "rotation", "shunt_watch", "supply")),
)
"""All that a step runs. `loop.py` and `link/` call a step or tell of it; no property speaks of them."""

_TRUE_DIVISION = re.compile(r"(?<!/)/(?!/)")


class Mutant:
    """One change: `file`, `place` (function), `line`, what `was` and what it `became`; the changed `source`.

    `part` tells apart changes of one line that read the same.
    """

    __slots__ = ("_change", "_module", "became", "file", "line", "part", "place", "was")

    def __init__(self, file: str, place: str, line: int, part: int, module: cst.Module, change: Any) -> None:
        """Keep the parts."""
        self.file = file
        self.place = place
        self.line = line
        self.part = part
        self.was = module.code_for_node(change.original_node).strip()
        self.became = module.code_for_node(change.mutated_node).strip()
        self._module = module
        self._change = change

    @property
    def name(self) -> str:
        """Return file, function, line, change: no two mutants have the same."""
        return f"{self.file} {self.place} {self.line}.{self.part}: {self.was} -> {self.became}"

    @property
    def source(self) -> str:
        """Return the whole changed file."""
        changed = self._module.deep_replace(self._change.original_node, self._change.mutated_node)
        assert isinstance(changed, cst.Module)
        return changed.code


def is_readable(was: str, became: str) -> bool:
    """Return whether a change leaves integers and booleans where they were.

    A None, an argument left out, a division with `/` or another text is refused by the interpreter at once: a
    kill of such a mutant says nothing about the properties.
    """
    if "None" in became and "None" not in was:
        return False
    if became[:1] in "\"'" or became.count(",") < was.count(",") or became.endswith(", )"):
        return False
    return bool(_TRUE_DIVISION.search(was)) or not _TRUE_DIVISION.search(became)


def configure() -> None:
    """Let the library that makes mutants read its configuration, which it wants in the folder it runs in."""
    with tempfile.TemporaryDirectory() as folder, chdir(folder):
        Path("setup.cfg").write_text("[mutmut]\nsource_paths=.\n", encoding="utf-8")
        config()


def mutants_of(file: str) -> list[Mutant]:
    """Return the readable mutants of one file, made by the rules that the other targets use."""
    path = ROOT / "firmware" / file
    module, mutations, *_ = create_mutations(str(path), path.read_text(encoding="utf-8"))
    positions = MetadataWrapper(module, unsafe_skip_copy=True).resolve(PositionProvider)
    found: list[Mutant] = []
    seen: dict[tuple[int, str, str], int] = {}
    for one in mutations:
        function = one.contained_by_top_level_function
        if not isinstance(function, cst.FunctionDef):
            continue
        line = positions[one.original_node].start.line
        mutant = Mutant(file, function.name.value, line, 0, module, one)
        key = (line, mutant.was, mutant.became)
        seen[key] = seen.get(key, 0) + 1
        mutant.part = seen[key]
        if is_readable(mutant.was, mutant.became):
            found.append(mutant)
    return found


def fair_order(files: tuple[str, ...]) -> list[Mutant]:
    """Return the mutants of files so that the first so many of all are as many a file as the file has of all.

    Within a file the first are spread over the whole file: each further one halves a gap.
    """
    placed: list[tuple[float, str, Mutant]] = []
    for file in files:
        mutants = mutants_of(file)
        order = sorted(range(len(mutants)), key=_halving)
        for rank, number in enumerate(order):
            placed.append(((rank + 0.5) / len(mutants), file, mutants[number]))
    return [mutant for *_, mutant in sorted(placed, key=lambda one: one[:2])]


def _halving(number: int) -> float:
    """Return a number's bits mirrored at the point: 0, 1/2, 1/4, 3/4, 1/8 and so on."""
    share, weight = 0.0, 0.5
    while number:
        share += weight * (number & 1)
        number >>= 1
        weight /= 2
    return share
