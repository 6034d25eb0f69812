"""Runs mutants of the firmware against the whole-step part of `treadle prove` alone.

    uv run python -m tests.mutation.prove                      every mutant: hours
    uv run python -m tests.mutation.prove --sample 100         every so-manieth, the same each time
    uv run python -m tests.mutation.prove --file guard/faults.py

A mutant is killed by the first claim that is refuted or not shown within the solver's limits, or because the
interpreter refuses it. What the formulas of a mutant have in common with those of the firmware is not asked
again. Lemmas are not run. Prints what killed each mutant, and a table of the files.
"""

import argparse
import multiprocessing
import sys
import tempfile
from collections import Counter
from contextlib import chdir
from importlib import import_module
from os import cpu_count
from pathlib import Path
from typing import Any

import libcst as cst
from mutmut.configuration import config
from mutmut.mutation.file_mutation import create_mutations

from host_sim.proof.whole.jobs import job_names, pieces_of
from host_sim.proof.whole.solving import LIMITS, PROVED, Facts

ROOT = Path(__file__).resolve().parents[2]
FILES = (
    "controller.py",
    "integers.py",
    "ticks.py",
    *(f"decide/{name}.py" for name in ("ceilings", "engagement", "events", "pedalling", "request")),
    *(f"drive/{name}.py" for name in ("feed_forward", "power_loop", "slew_limiter")),
    *(f"guard/{name}.py" for name in ("faults", "output_guard", "plausibility")),
    *(f"sense/{name}.py" for name in ("crank", "levers", "motor_model", "rotation", "shunt_watch", "supply")),
)
Pieces = list[tuple[list[Any], list[tuple[str, Any]]]]


class Mutant:
    """One change: its `file`, `place` (function), what `was`, what it `became`, and the changed `source`."""

    __slots__ = ("_change", "_module", "became", "file", "place", "was")

    def __init__(self, file: str, place: str, module: cst.Module, change: Any) -> None:
        """Keep the parts."""
        self.file = file
        self.place = place
        self.was = module.code_for_node(change.original_node).strip()
        self.became = module.code_for_node(change.mutated_node).strip()
        self._module = module
        self._change = change

    @property
    def source(self) -> str:
        """Return the whole changed file."""
        changed = self._module.deep_replace(self._change.original_node, self._change.mutated_node)
        assert isinstance(changed, cst.Module)
        return changed.code


def _configured() -> None:
    """Let the library that makes mutants read its configuration, which it wants in the folder it runs in."""
    with tempfile.TemporaryDirectory() as folder, chdir(folder):
        Path("setup.cfg").write_text("[mutmut]\nsource_paths=.\n", encoding="utf-8")
        config()


def mutants_of(file: str) -> list[Mutant]:
    """Return all mutants of one file of the firmware, made by the rules that the other targets use."""
    path = ROOT / "firmware" / file
    module, mutations, *_ = create_mutations(str(path), path.read_text(encoding="utf-8"))
    functions = [one.contained_by_top_level_function for one in mutations]
    return [
        Mutant(file, function.name.value, module, one)
        for function, one in zip(functions, mutations, strict=True)
        if isinstance(function, cst.FunctionDef)
    ]


def killer(mutant: Mutant, former: dict[str, Pieces]) -> str:
    """Return which claim kills a mutant, or an empty text; run in a process of its own."""
    module = import_module("firmware." + mutant.file.removesuffix(".py").replace("/", "."))
    with tempfile.NamedTemporaryFile("w", suffix=".py", encoding="utf-8") as changed:
        changed.write(mutant.source)
        changed.flush()
        module.__file__ = changed.name
        for job in _nearest_first(mutant.file):
            try:
                pieces = pieces_of(job)
            except Exception as failure:  # The interpreter refuses, or the change can't be computed at all.
                return f"{job}: refused, {type(failure).__name__}"
            for number, (facts, claims) in enumerate(pieces):
                what = _first_not_shown(facts, claims, former[job], number)
                if what:
                    return f"{job}: {what}"
    return ""


def _first_not_shown(facts: list[Any], claims: list[tuple[str, Any]], former: Pieces, number: int) -> str:
    """Return the first claim that is not shown; what the firmware itself has in common is."""
    before_facts, before_claims = former[number] if number < len(former) else ([], [])
    known = {claim for _, claim in before_claims} if set(before_facts) <= set(facts) else set()
    asked = Facts(facts)
    for what, claim in claims:
        if claim not in known and asked.prove(claim, QUICK_LIMITS).verdict != PROVED:
            return what
    return ""


QUICK_LIMITS = LIMITS[:2]
"""Less than `treadle prove` may spend. A claim that needs more counts as killed."""
OWN_CONTRACTS = {
    "integers.py": "contract fading",
    "guard/faults.py": "contract Faults",
    "guard/plausibility.py": "contract Plausibility",
    "guard/output_guard.py": "contract OutputGuard",
    "sense/motor_model.py": "contract MotorModel",
    "sense/supply.py": "contract Supply",
    "sense/rotation.py": "contract Rotation",
    "drive/power_loop.py": "contract PowerLoop",
    "drive/slew_limiter.py": "contract SlewLimiter",
    "drive/feed_forward.py": "contract FeedForward",
    "decide/ceilings.py": "contract Ceilings",
    "decide/events.py": "contract Events",
    "decide/engagement.py": "contract Engagement",
    "decide/pedalling.py": "contract Pedalling",
}
"""Tried first on a mutant of the file."""


def _nearest_first(file: str) -> list[str]:
    """Return all jobs, the contracts of the file's class first, the whole induction last."""
    near = OWN_CONTRACTS.get(file, "edge")
    slow = ("step keeps", "step back keeps", "step rise", "step ceiling")
    return sorted(job_names(), key=lambda job: 0 if job.startswith(near) else 1 + job.startswith(slow))


def main() -> int:
    """Run the mutants; print the table."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0] if __doc__ else "")
    parser.add_argument("--sample", type=int, default=0)
    parser.add_argument("--file", choices=FILES)
    parser.add_argument("--workers", type=int, default=cpu_count() or 1)
    given = parser.parse_args()
    _configured()
    mutants = [one for file in FILES if given.file in (None, file) for one in mutants_of(file)]
    if given.sample:
        mutants = mutants[:: max(len(mutants) // given.sample, 1)]
    _former.update({job: pieces_of(job) for job in job_names()})
    _mutants.extend(mutants)
    killed: Counter[str] = Counter()
    tried: Counter[str] = Counter()
    # A process a mutant: it changes where the firmware's module is read from.
    with multiprocessing.get_context("fork").Pool(given.workers, maxtasksperchild=1) as pool:
        for number, by in pool.imap_unordered(_in_child, range(len(mutants)), chunksize=1):
            mutant = mutants[number]
            tried[mutant.file] += 1
            killed[mutant.file] += bool(by)
            change = f"{mutant.was!r} became {mutant.became!r}"
            verdict = f"killed by {by}" if by else "LIVED"
            print(f"{mutant.file} {mutant.place}: {change}: {verdict}", flush=True)
    print("\n| file | mutants | killed |\n|---|---|---|")
    for file in FILES:
        if tried[file]:
            print(f"| {file} | {tried[file]} | {killed[file]} |")
    print(f"| all | {tried.total()} | {killed.total()} |")
    return 0


_former: dict[str, Pieces] = {}
_mutants: list[Mutant] = []


def _in_child(number: int) -> tuple[int, str]:
    return number, killer(_mutants[number], _former)


if __name__ == "__main__":
    sys.exit(main())
