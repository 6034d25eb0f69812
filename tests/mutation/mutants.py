"""Makes mutants of the firmware in a copy of the project, tries the tests on each, and reads what lived."""

import ast
import difflib
import json
import resource
import shutil
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path
from types import ModuleType
from typing import Any

from mutmut.stats import status_by_exit_code

ROOT = Path(__file__).resolve().parents[2]
COPIED = ("firmware", "boards", "host_sim", "tests")
# All else is noticed: a failing test, an endless loop, a process that ran out of memory.
LIVED = ("survived", "no tests", "skipped")
MEMORY_MAX_BYTES = 4 << 30
SEPARATOR = "\u01c1"  # What mutmut writes between class and method in the names of its functions.


class Survivor:
    """A mutant that no test noticed: `file`, `function` (dotted), the lines it `was` and `became`."""

    __slots__ = ("became", "file", "function", "source", "was")

    def __init__(self, file: str, function: str, was: str, became: str, source: str) -> None:
        """Keep what is known; `source` is the changed function, by the name of the plain one."""
        self.file = file
        self.function = function
        self.was = was
        self.became = became
        self.source = source

    def changed(self, module: ModuleType) -> dict[str, Callable[..., Any]]:
        """Return the changed method by its name, compiled among the names of the firmware's module."""
        names: dict[str, Any] = {}
        exec(compile(self.source, self.file, "exec"), vars(module), names)
        return names


def tried(target: dict[str, Any], scratch: Path, workers: int) -> tuple[int, list[Survivor]]:
    """Return how many mutants of `target` there are, and those that lived; RuntimeError if the run broke."""
    _copy_project(scratch, target)
    command = [sys.executable, "-m", "mutmut", "run", "--max-children", str(workers)]
    log = scratch / "mutmut.log"
    with log.open("w", encoding="utf-8") as out:
        subprocess.run(
            command, cwd=scratch, stdout=out, stderr=subprocess.STDOUT, check=False, preexec_fn=_bound_memory
        )
    count, survivors = 0, []
    for meta in sorted((scratch / "mutants" / "firmware").rglob("*.py.meta")):
        codes = json.loads(meta.read_text(encoding="utf-8"))["exit_code_by_key"]
        untried = [name for name, code in codes.items() if code is None]
        if untried:
            raise RuntimeError(f"{untried[0]} was not tried: {log.read_text(encoding='utf-8')[-2000:]}")
        count += len(codes)
        lived = [name for name, code in codes.items() if status_by_exit_code[code] in LIVED]
        survivors += _survivors(meta.with_suffix(""), scratch / "mutants", lived) if lived else []
    if count == 0:
        raise RuntimeError(f"there were no mutants: {log.read_text(encoding='utf-8')[-2000:]}")
    return count, survivors


def _bound_memory() -> None:
    """Let a mutant that never stops collecting fail soon, and not take the machine's memory first."""
    resource.setrlimit(resource.RLIMIT_AS, (MEMORY_MAX_BYTES, MEMORY_MAX_BYTES))


def _copy_project(scratch: Path, target: dict[str, Any]) -> None:
    for name in COPIED:
        unwanted = shutil.ignore_patterns("__pycache__", "*.png", ".*")
        shutil.copytree(ROOT / name, scratch / name, ignore=unwanted)
    project = (ROOT / "pyproject.toml").read_text(encoding="utf-8")
    lines = [f"{name} = {json.dumps(value)}" for name, value in target.items()]
    (scratch / "pyproject.toml").write_text(project + "\n[tool.mutmut]\n" + "\n".join(lines) + "\n")


def _survivors(path: Path, top: Path, lived: list[str]) -> list[Survivor]:
    """Read from a file of mutants what the mutants called `lived` changed."""
    text = path.read_text(encoding="utf-8")
    functions = {node.name: node for node in ast.walk(ast.parse(text)) if isinstance(node, ast.FunctionDef)}
    survivors = []
    for name in lived:
        short = name.rsplit(".", 1)[1]
        stem, _ = short.rsplit("__mutmut_", 1)
        function = stem.removeprefix("x" + SEPARATOR).removeprefix("x_").replace(SEPARATOR, ".")
        plain = _lines(functions[stem + "__mutmut_orig"])
        mutant = _lines(functions[short])
        changes = [line for line in difflib.ndiff(plain[1:], mutant[1:]) if line[0] in "-+"]
        was = " ".join(line[2:].strip() for line in changes if line[0] == "-")
        became = " ".join(line[2:].strip() for line in changes if line[0] == "+")
        node = functions[short]
        node.name = function.rsplit(".", 1)[-1]
        file = path.relative_to(top).as_posix()
        survivors.append(Survivor(file, function, was, became, ast.unparse(node)))
    return survivors


def _lines(function: ast.FunctionDef) -> list[str]:
    return ast.unparse(function).splitlines()
