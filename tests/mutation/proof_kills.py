"""Whether `treadle prove` alone notices a mutant: its claims about whole steps first, then its lemmas."""

import json
import os
import shutil
import subprocess
import sys
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from importlib import import_module
from pathlib import Path
from typing import Any

from host_sim.proof.whole.exact_all import ACCEPTED, EXACT, JOINED, START
from host_sim.proof.whole.interpreter import Interpreter
from host_sim.proof.whole.jobs import pieces_of
from host_sim.proof.whole.program import Function
from host_sim.proof.whole.solving import LIMITS, PROVED, REFUTED, Facts
from tests.mutation.proof_cover import is_covered
from tests.mutation.proof_mutants import ROOT, Mutant
from tests.mutation.proof_numbers import refuted_by_numbers
from tests.proving import job_names

Waiting = tuple[str, Facts, Any]
Pieces = list[tuple[list[Any], list[tuple[str, Any]]]]
QUICK_LIMITS, LONGER_LIMITS = LIMITS[:1], LIMITS[1:2]
"""Less than `treadle prove` may spend: first on all claims, then on what is left. Else not shown."""
QUICK_TURNS = 40
OF_KINDS = ("sense/crank.py", "guard/output_guard.py", "decide/pedalling.py", "settings.py")
"""What goes other ways for other kinds of sensor."""
SAME = "the same by"
SLOW = ("step keeps", "step back keeps", "step rise", "step ceiling")
QUICK = ("contract", "constructor", "edge ", "gate ", "clock")
OWN, FOREIGN = 0, 3
LEMMAS_ON_A_COPY = """
import json, sys
import firmware
from host_sim.proof.lemma_list import LEMMAS
from host_sim.proof.prover import PROVED, prove_lemma
assert firmware.__file__.startswith(sys.argv[1]), firmware.__file__
for name in sys.argv[2:]:
    try:
        result = prove_lemma(LEMMAS[name])
    except Exception as failure:
        print(json.dumps([name, "refused, " + type(failure).__name__]))
        break
    if result.verdict != PROVED:
        print(json.dumps([name, result.what]))
        break
"""


@contextmanager
def noting_functions() -> Iterator[set[tuple[str, str]]]:
    """Note which functions of the firmware, by module and name, the interpreter runs."""
    entered: set[tuple[str, str]] = set()
    plain = Interpreter.run_body

    def noted(whole: Interpreter, function: Function, arguments: list[Any]) -> Any:
        entered.add((function.module.name, function.node.name))
        return plain(whole, function, arguments)

    Interpreter.run_body = noted  # type: ignore[assignment, method-assign]
    try:
        yield entered
    finally:
        Interpreter.run_body = plain  # type: ignore[method-assign]


class Plain:
    """What the firmware as it is gives: `pieces` of each job, and the functions `entered` for them."""

    def __init__(self, quick: bool = False) -> None:
        """Take every job apart once; with `quick` those that are tried then."""
        self.pieces: dict[str, Pieces] = {}
        self.entered: dict[str, set[tuple[str, str]]] = {}
        self.jobs = [job for job in job_names() if not quick or job.startswith((*QUICK, "exact", "joined"))]
        for job in self.jobs:
            with noting_functions() as entered:
                self.pieces[job] = pieces_of(job)
            self.entered[job] = entered

    def concerned(self, mutant: Mutant, all_kinds: bool, quick: bool) -> list[str]:
        """Return the jobs that run the changed function, those that are likely to notice it soon first.

        Without `all_kinds` those of a ring with two channels, where they run it. With `quick` none about
        whole steps, and no exact contract of other files.
        """
        place = module_of(mutant), mutant.place
        jobs = [job for job in self.jobs if place in self.entered[job]]
        if not all_kinds and mutant.file not in OF_KINDS and any(", kind 0" in job for job in jobs):
            jobs = [job for job in jobs if ", kind 1" not in job and ", kind 2" not in job]
        if quick:
            # Settings change the formulas of every job.
            beyond = OWN + 1 if mutant.file == "settings.py" else FOREIGN
            jobs = [job for job in jobs if _turn(job, mutant) < beyond]
        return sorted(jobs, key=lambda job: (job.startswith(SLOW), _turn(job, mutant)))


def _turn(job: str, mutant: Mutant) -> int:
    """Return when a job is tried: exact contracts of the file, how a controller starts, parts, all."""
    module = module_of(mutant)
    contract = EXACT.get(job.removeprefix("exact "))
    if contract is not None:
        return OWN if contract.module == module else FOREIGN
    if job in JOINED:
        return OWN if f"firmware.{JOINED[job][0].module}" == module else FOREIGN
    if job in (START, ACCEPTED):
        return OWN if job == ACCEPTED and mutant.file == "settings.py" else 1
    return 2 if job.startswith(QUICK) else FOREIGN + 1


@dataclass(frozen=True, slots=True)
class Kill:
    """`how` a mutant was killed ("refuted", "not shown", "refused", "lemma", or "": it lived), `by` what.

    Of one that lived `by` names the exact contracts that show it to do what the firmware does, if they do.
    """

    how: str
    by: str


def module_of(mutant: Mutant) -> str:
    """Return the dotted name of the module that a mutant changes."""
    return "firmware." + mutant.file.removesuffix(".py").replace("/", ".")


def killed_by_step(mutant: Mutant, plain: Plain, all_kinds: bool = False, quick: bool = False) -> Kill:
    """Try the claims about whole steps; in a process of its own, for the module stays changed."""
    module = import_module(module_of(mutant))
    with tempfile.NamedTemporaryFile("w", suffix=".py", encoding="utf-8") as changed:
        changed.write(mutant.source)
        changed.flush()
        module.__file__ = changed.name
        jobs = plain.concerned(mutant, all_kinds, quick)
        waiting: list[Waiting] = []
        told: list[str] = []
        covered = is_covered(mutant.file, mutant.place)
        for job in jobs:
            own = _turn(job, mutant) == OWN
            if covered and told and not own and not waiting:
                break
            told += [job] if own else []
            try:
                found = pieces_of(job)
            except Exception as failure:  # The interpreter refuses, or the change can't be computed at all.
                return Kill("refused", f"{job}: {type(failure).__name__}")
            for facts, claims in _changed(found, plain.pieces[job]):
                what = _soon_refuted(job, facts, claims, waiting)
                if what is not None:
                    return Kill(REFUTED, f"{job}: {what}")
    for what, known, claim in waiting:
        verdict = known.prove(claim, LONGER_LIMITS).verdict
        if verdict != PROVED:
            return Kill(REFUTED if verdict == REFUTED else "not shown", what)
    return Kill("", f"{SAME} {', '.join(told)}" if covered and told else "")


def _soon_refuted(
    job: str, facts: list[Any], claims: list[tuple[str, Any]], waiting: list[Waiting]
) -> str | None:
    """Return the first claim that is refuted soon; what is not shown soon waits."""
    what = refuted_by_numbers(facts, claims)
    if what is not None:
        return what
    known = Facts(facts)
    for what, claim in claims:
        verdict = known.prove(claim, QUICK_LIMITS, QUICK_TURNS).verdict
        if verdict == REFUTED:
            return what
        if verdict != PROVED:
            waiting.append((f"{job}: {what}", known, claim))
    return None


def _changed(found: Pieces, former: Pieces) -> Iterator[tuple[list[Any], list[tuple[str, Any]]]]:
    """Return the claims of a job that the firmware itself does not have too, with the facts for them."""
    for number, (facts, claims) in enumerate(found):
        before_facts, before_claims = former[number] if number < len(former) else ([], [])
        known = {claim for _, claim in before_claims} if set(before_facts) <= set(facts) else set()
        if changed := [(what, claim) for what, claim in claims if claim is not True and claim not in known]:
            yield facts, changed


def killed_by_lemma(mutant: Mutant, lemmas: list[str]) -> Kill:
    """Run lemmas on a copy of the firmware with the change in it, until one is not proved."""
    if not lemmas:
        return Kill("", "")
    with tempfile.TemporaryDirectory() as folder:
        copy = Path(folder) / "firmware"
        shutil.copytree(ROOT / "firmware", copy, ignore=shutil.ignore_patterns("__pycache__"))
        (copy / mutant.file).write_text(mutant.source, encoding="utf-8")
        shown = subprocess.run(
            [sys.executable, "-c", LEMMAS_ON_A_COPY, folder, *lemmas],
            env={**os.environ, "PYTHONPATH": f"{folder}{os.pathsep}{ROOT}"},
            cwd=folder,
            capture_output=True,
            text=True,
            check=False,
        )
    if shown.returncode != 0:
        # The changed firmware can't even be imported, or settings can't be made.
        last = shown.stderr.strip().splitlines()[-1:] or ["no words"]
        return Kill("refused", f"lemmas: {last[0][:80]}")
    if shown.stdout:
        name, what = json.loads(shown.stdout.splitlines()[-1])
        return Kill("lemma", f"lemma {name}: {what}")
    return Kill("", "")
