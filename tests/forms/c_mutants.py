"""Changes one thing at a time in the generated C, and asks what notices.

    uv run python -m tests.forms.c_mutants                    150 of them meet the vectors, the same each time
    uv run python -m tests.forms.c_mutants --sample 0         all of them: hours
    uv run python -m tests.forms.c_mutants --write            also rewrite C_MUTANTS.md

Every mutant is read back (`read_back.py`). Those of a sample are shown to vectors as well: first to those of
single functions, which stand at the borders of comparisons, and what these miss to random lives. The tables
and the check of the settings are left out: `test_c_form.py` asks for both ends of every setting and one
beyond. So are the checks of divisors, which a board does without.
"""

import argparse
import random
import re
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

from host_sim.forms.lives import write_lives
from host_sim.forms.model import Program
from host_sim.forms.program import read_firmware
from tests.forms.building import PARTS, compiled, need
from tests.forms.c_survivors import SURVIVORS
from tests.forms.conftest import write_form, written
from tests.forms.method_vectors import MethodVectors
from tests.forms.read_back import differences

TABLE = Path(__file__).with_name("C_MUTANTS.md")
SEEDS = 40
LIFE_STEPS = 30_000
PATIENCE_S = 60
OTHER = {"<": "<=", "<=": "<", ">": ">=", ">=": ">", "==": "!=", "!=": "=="}
ARITHMETIC = {"+": "-", "-": "+", "*": "+", "&": "|", "|": "&", "^": "|", ">>": "<<", "+=": "-=", "-=": "+="}
LOGIC = {"&&": "||", "||": "&&"}
CALLS = {"min_of(": "max_of(", "max_of(": "min_of("}
BODY = re.compile(r"^(\w[^\n;]*\([^;{}]*\))\n\{\n(.*?)^\}", re.MULTILINE | re.DOTALL)
UNEXPLAINED = "not explained yet"
LEFT_OUT = ("STOP_UNLESS", "Settings_", "(void)")


@dataclass(frozen=True, slots=True)
class Mutant:
    """One change: from `start` to `end` of the text stands `after`. `line` is the line as it was."""

    kind: str
    start: int
    end: int
    before: str
    after: str
    line: str

    @property
    def name(self) -> str:
        """What tells it from others, as people read it."""
        return f"{self.line.strip()}: {self.before.strip()} -> {self.after.strip()}"


def without_comments(text: str) -> str:
    """Return a text of the same length in which comments are blank."""
    return re.sub(r"/\*.*?\*/", lambda found: re.sub(r"[^\n]", " ", found[0]), text, flags=re.DOTALL)


def mutants_of(text: str) -> Iterator[Mutant]:
    """Go through all changes of the bodies of functions."""
    code = without_comments(text)
    for body in BODY.finditer(code):
        if "Settings_" in body[1].split("(")[0]:
            continue
        at = body.start(2)
        for line in body[2].splitlines(keepends=True):
            if not any(word in line for word in LEFT_OUT):
                yield from _changes(line, at)
            at += len(line)


def _changes(line: str, at: int) -> Iterator[Mutant]:
    def change(kind: str, found: re.Match[str], after: str) -> Mutant:
        return Mutant(kind, at + found.start(1), at + found.end(1), found[1], after, line)

    for found in re.finditer(r" (<=|>=|==|!=|<|>) ", line):
        yield change("comparison", found, OTHER[found[1]])
    for found in re.finditer(r" ([-+]=|[-+*&|^]|>>) ", line):
        yield change("arithmetic", found, ARITHMETIC[found[1]])
    for found in re.finditer(r" (&&|\|\|) ", line):
        yield change("and, or", found, LOGIC[found[1]])
    for found in re.finditer(r"\b((?:min|max)_of\()", line):
        yield change("smallest, largest", found, CALLS[found[1]])
    for found in re.finditer(r"(!)\w", line):
        yield change("negation", found, "")
    for found in re.finditer(r"(?<![\w.])(\d+|0x[0-9A-F]+)\b", line):
        yield change("number", found, str(int(found[1], 0) + 1))
    for found in re.finditer(r"\b([A-Z][A-Z0-9_]{2,})\b", line):
        yield change("named number", found, f"({found[1]} + 1)")


def alone(text: str, mutant: Mutant, changed: bool = True) -> tuple[str, str]:
    """Return the name of a mutant's function, and the text without the other functions."""
    parts, name, at = [], "", 0
    for body in BODY.finditer(without_comments(text)):
        if body.start() <= mutant.start < body.end():
            name = body[1].split("(")[0].split()[-1].lstrip("*")
            end = mutant.end if changed else mutant.start
            after = mutant.after if changed else ""
            parts.append(text[at : mutant.start] + after + text[end : body.end()])
        else:
            parts.append(text[at : body.start()] + body[1].removeprefix("COMPONENT") + ";\n")
        at = body.end()
    return name, "".join(parts) + text[at:]


def sampled(mutants: list[Mutant], count: int) -> list[Mutant]:
    """Return some of each kind, as many as it has of all; the same each time."""
    if count == 0 or count >= len(mutants):
        return mutants
    order = sorted(
        random.Random(1).sample(range(len(mutants)), len(mutants)), key=lambda at: mutants[at].kind
    )
    step = len(mutants) / count
    return [mutants[order[int(step * (number + 0.5))]] for number in range(count)]


class Trial:
    """What mutants are shown to."""

    def __init__(self, program: Program, folder: Path) -> None:
        """Write everything but the mutant into a folder."""
        self._folder = write_form(program, folder)
        self.text = (folder / "assist.c").read_text(encoding="utf-8")
        methods = MethodVectors(program, SEEDS)
        (folder / "method_check.c").write_text(methods.source(), encoding="utf-8")
        written(program, folder / "lives.vectors", lambda writer: write_lives(writer, LIFE_STEPS, seed=2))

    def noticed(self, mutant: Mutant | None) -> str:
        """Return what notices a mutant: `compiler`, `functions`, `lives`, or nothing."""
        text = self.text
        if mutant is not None:
            text = text[: mutant.start] + mutant.after + text[mutant.end :]
        (self._folder / "assist.c").write_text(text, encoding="utf-8")
        command = [need("gcc"), "-std=c99", "-w", "-DASSIST_CHECKED"]
        done = compiled([*command, "method_check.c", "-o", "methods"], self._folder)
        if done.returncode != 0:
            return "compiler"
        if not _is_equal(self._folder, ["./methods"]):
            return "functions"
        compiled([*command, "-O1", *PARTS, "-o", "check_assist"], self._folder)
        return "" if _is_equal(self._folder, ["./check_assist", "lives.vectors"]) else "lives"


def _is_equal(folder: Path, command: list[str]) -> bool:
    """Run a program that compares; one that crashes or never ends is not equal."""
    try:
        done = subprocess.run(command, cwd=folder, capture_output=True, timeout=PATIENCE_S, check=False)
    except subprocess.TimeoutExpired:
        return False
    return done.returncode == 0


def unread(header: str, text: str, mutants: list[Mutant], folder: Path) -> list[Mutant]:
    """Return the mutants that reading back does not tell from the firmware."""
    (folder / "assist.h").write_text(header, encoding="utf-8")
    left = []
    for mutant in mutants:
        name, changed = alone(text, mutant)
        (folder / "assist.c").write_text(changed, encoding="utf-8")
        if not differences(folder, name):
            sys.stderr.write(f"reads as the firmware: {mutant.name}\n")
            left.append(mutant)
    return left


def table(found: dict[Mutant, str], of: int, left: list[Mutant]) -> list[str]:
    """Return what reading back and what vectors notice, and what vectors don't."""
    rows = [
        "| kind | mutants | noticed by single functions | by random lives only | by nothing |",
        "|---|---|---|---|---|",
    ]
    for kind in [*sorted({one.kind for one in found}), "all"]:
        ways = [way for one, way in found.items() if kind in (one.kind, "all")]
        single = sum(way in ("functions", "compiler") for way in ways)
        rows.append(f"| {kind} | {len(ways)} | {single} | {ways.count('lives')} | {ways.count('')} |")
    lines = [
        f"Reading back (`read_back.py`) notices {of - len(left)} of all {of} mutants. It compares texts, so",
        "those that change nothing are among them; the helpers that C needs are compared by value.",
        *[f"\n* Not noticed: `{one.name}`: {SURVIVORS.get(one.name, UNEXPLAINED)}" for one in left],
        "",
        f"By vectors alone, {len(found)} mutants drawn from one seed:",
        "",
        *rows,
    ]
    missed = sorted(one.name for one, way in found.items() if not way)
    if missed:
        lines += ["", "No vector notices these:", ""]
        lines += [f"* `{name}`: {SURVIVORS.get(name, 'reading back only')}" for name in missed]
    return lines


def main() -> int:
    """Try the mutants; 1 if reading back misses one without a reason."""
    parser = argparse.ArgumentParser(prog="python -m tests.forms.c_mutants", description=__doc__)
    parser.add_argument("--sample", type=int, default=150, help="how many meet the vectors, 0 for all")
    parser.add_argument("--write", action="store_true", help="rewrite C_MUTANTS.md")
    wanted = parser.parse_args()
    with tempfile.TemporaryDirectory() as folder:
        trial = Trial(read_firmware(), Path(folder))
        if differences(Path(folder)) or trial.noticed(None):
            sys.stderr.write("the C form differs from its sources without any change\n")
            return 1
        everything = list(mutants_of(trial.text))
        with tempfile.TemporaryDirectory() as apart:
            header = (Path(folder) / "assist.h").read_text(encoding="utf-8")
            left = unread(header, trial.text, everything, Path(apart))
        found: dict[Mutant, str] = {}
        for mutant in sampled(everything, wanted.sample):
            began = time.monotonic()
            found[mutant] = trial.noticed(mutant)
            took_s = time.monotonic() - began
            sys.stderr.write(f"{found[mutant] or 'SURVIVES'} {took_s:.0f} s {mutant.kind}: {mutant.name}\n")
    lines = table(found, len(everything), left)
    if wanted.write:
        head = "# Mutants of the generated C\n\n`uv run python -m tests.forms.c_mutants --write`\n\n"
        TABLE.write_text(head + "\n".join(lines) + "\n", encoding="utf-8")
    sys.stdout.write("\n".join(lines) + "\n")
    return 0 if all(one.name in SURVIVORS for one in left) else 1


if __name__ == "__main__":
    sys.exit(main())
