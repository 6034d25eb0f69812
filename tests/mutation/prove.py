"""Runs mutants of the firmware against `treadle prove` alone.

    uv run python -m tests.mutation.prove                      every mutant: hours
    uv run python -m tests.mutation.prove --sample 400         so many, the same each time
    uv run python -m tests.mutation.prove --file guard/faults.py
    uv run python -m tests.mutation.prove --again              what lived before, once more
    uv run python -m tests.mutation.prove --no-lemmas          quicker: lemmas are left to --again
    uv run python -m tests.mutation.prove --quick              what takes a third of a second each

A mutant is killed by the first claim about whole steps, or else the first lemma, that is refuted or not
shown, or because the interpreter refuses it. What the formulas of a mutant have in common with those of the
firmware is not asked again; nor, but with `--again`, other kinds of sensor in a file that does not know them.
`--quick` tries the exact contracts of the changed file, how a controller starts, contracts, edges and the
gate; what lives is left to `--again`. A sample takes as many of each file as the file has of all. Each
result is written to `--results` when it is known, and mutants in it are not tried again.
"""

import argparse
import gc
import json
import multiprocessing
import sys
from os import times
from pathlib import Path
from typing import Any

from tests.mutation.proof_kills import Kill, Plain, killed_by_lemma, killed_by_step
from tests.mutation.proof_lemmas import Place, lemmas_for, places_of_lemmas
from tests.mutation.proof_mutants import FILES, Mutant, configure, fair_order

RESULTS = Path(__file__).parent / "proof_results.jsonl"
_plain: list[Plain] = []
_mutants: list[Mutant] = []
_places: dict[str, set[Place]] = {}
_ways: dict[str, bool] = {}


def known_results(path: Path) -> dict[str, dict[str, Any]]:
    """Return the results in a file by the mutant's name; the last entry counts."""
    if not path.exists():
        return {}
    lines = path.read_text(encoding="utf-8").splitlines()
    return {entry["mutant"]: entry for entry in map(json.loads, lines)}


def _try(number: int) -> tuple[int, Kill, int]:
    mutant = _mutants[number]
    kill = killed_by_step(mutant, _plain[0], **_ways)
    if not kill.how and not kill.by and _places:
        kill = killed_by_lemma(mutant, lemmas_for(mutant.file, mutant.place, _places))
    return number, kill, round(sum(times()[:4]))


def chosen(sample: int, file: str | None, again: bool, known: dict[str, dict[str, Any]]) -> list[Mutant]:
    """Return the mutants to be tried now."""
    mutants = fair_order(FILES if file is None else (file,))
    if again:
        return [
            one for one in mutants if one.name in known and not known[one.name]["how"] + known[one.name]["by"]
        ]
    return [one for one in mutants[: sample or None] if one.name not in known]


def main() -> int:
    """Run the mutants; write a line for each."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0] if __doc__ else "")
    parser.add_argument("--sample", type=int, default=0)
    parser.add_argument("--file", choices=FILES)
    parser.add_argument("--again", action="store_true")
    parser.add_argument("--no-lemmas", action="store_true")
    parser.add_argument("--quick", action="store_true")
    parser.add_argument("--results", type=Path, default=RESULTS)
    parser.add_argument("--workers", type=int, default=1)
    given = parser.parse_args()
    configure()
    _mutants.extend(chosen(given.sample, given.file, given.again, known_results(given.results)))
    _ways.update(all_kinds=given.again, quick=given.quick)
    if not _mutants:
        return 0
    _plain.append(Plain(given.quick))
    if not given.no_lemmas and not given.quick:
        _places.update(places_of_lemmas(given.results.with_suffix(".lemmas.json")))
    gc.freeze()  # What is there stays: no process needs to look through it for what can be freed.
    # A process a mutant: it changes where the firmware's module is read from.
    with (
        given.results.open("a", encoding="utf-8") as results,
        multiprocessing.get_context("fork").Pool(given.workers, maxtasksperchild=1) as pool,
    ):
        for number, kill, seconds in pool.imap_unordered(_try, range(len(_mutants)), chunksize=1):
            mutant = _mutants[number]
            entry = {"mutant": mutant.name, "how": kill.how, "by": kill.by, "s": seconds}
            results.write(json.dumps(entry, ensure_ascii=False) + "\n")
            results.flush()
            print(f"{mutant.name}: {kill.how or 'LIVED'}, {kill.by}", flush=True)
    return 0


if __name__ == "__main__":
    sys.exit(main())
