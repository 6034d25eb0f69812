"""Writes tests/PROOF_KILLS.md from the results of mutants against the proofs, and what is known of survivors.

uv run python -m tests.mutation.proof_table
"""

import sys
import tomllib
from collections import Counter
from pathlib import Path
from typing import Any

from host_sim.proof.properties import PROPERTIES, Property
from host_sim.proof.whole.evidence import jobs_of
from tests.mutation.proof_kills import Plain
from tests.mutation.proof_lemmas import Place, places_of_lemmas
from tests.mutation.proof_mutants import FILES, ROOT, configure, fair_order
from tests.mutation.prove import RESULTS, known_results

SURVIVORS = Path(__file__).parent / "proof_survivors.toml"
TABLE = ROOT / "tests" / "PROOF_KILLS.md"
EQUIVALENT, OUTSIDE, OPEN = "equivalent", "outside", "open"
HEAD = """# Mutants of the firmware against `treadle prove` alone

The first {tried} of {all} mutants, in an order in which each file has its share of every beginning
(`tests/mutation/proof_mutants.py`). Further: `uv run python -m tests.mutation.prove --sample N` goes on
from `tests/mutation/proof_results.jsonl`; then `uv run python -m tests.mutation.proof_table` writes this
page.

A mutant is killed by the first claim about whole steps, or else lemma, that is refuted, not shown within
small limits, or refused because the interpreter can't read it (a None where a number is wanted, an
argument that is missing, a division with `/`). `loop.py` and `link/` are not tried: no property speaks
of them.

Killed: {killed} of {tried} ({refused} refused, {refuted} refuted, {unshown} not shown, {lemma} by a
lemma). Of the others {equivalent} do the same as the firmware, {outside} do something of which no
sentence speaks, and {open} are not looked at yet. Of the {readable} that the interpreter can read
{of_readable} are killed: too few to state a rate.

In the scope of a property is what its own statements and lemmas run; with many it is most of the
firmware.
"""
COLUMNS = "| {} | mutants | killed | equivalent | outside its sentence | open |\n|---|---|---|---|---|---|"


def places_of(stated: Property, plain: Plain, lemmas: dict[str, set[Place]]) -> set[Place]:
    """Return file and name of the functions that a property's own statements and lemmas run."""
    places = {
        (module.removeprefix("firmware.").replace(".", "/") + ".py", name)
        for job in jobs_of(stated.statements)
        for module, name in plain.entered[job]
    }
    return places.union(*(lemmas[name] for name in stated.lemmas))


def sort(entry: dict[str, Any], reasons: dict[str, dict[str, str]]) -> str:
    """Return "killed", or what is known of a survivor."""
    return "killed" if entry["how"] else reasons.get(entry["mutant"], {"class": OPEN})["class"]


def row(name: str, sorts: list[str]) -> str:
    """Return one line of a table."""
    counted = Counter(sorts)
    numbers = (len(sorts), *(counted[one] for one in ("killed", EQUIVALENT, OUTSIDE, OPEN)))
    return f"| {name} | {' | '.join(map(str, numbers))} |"


def text_of(results: dict[str, dict[str, Any]], scopes: dict[str, set[Place]], count: int) -> str:
    """Return the whole page."""
    survivors = tomllib.loads(SURVIVORS.read_text(encoding="utf-8"))["survivor"]
    reasons = {one["mutant"]: one for one in survivors}
    sorted_as = {name: sort(entry, reasons) for name, entry in results.items()}
    hows, sorts = Counter(entry["how"] for entry in results.values()), Counter(sorted_as.values())
    lines = [
        HEAD.format(
            tried=len(results), all=count, killed=sorts["killed"], refused=hows["refused"],
            refuted=hows["refuted"], unshown=hows["not shown"], lemma=hows["lemma"],
            readable=len(results) - hows["refused"], of_readable=sorts["killed"] - hows["refused"],
            equivalent=sorts[EQUIVALENT], outside=sorts[OUTSIDE], open=sorts[OPEN],
        ),
        COLUMNS.format("property"),
    ]  # fmt: skip
    for name, places in scopes.items():
        inside = [how for mutant, how in sorted_as.items() if tuple(mutant.split(" ")[:2]) in places]
        lines.append(row(name, inside))
    lines.append(
        "\n| file | mutants tried | killed | equivalent | outside | open |\n|---|---|---|---|---|---|"
    )
    for file in FILES:
        lines.append(
            row(f"`{file}`", [how for mutant, how in sorted_as.items() if mutant.startswith(f"{file} ")])
        )
    lines.append("\n| what lived | why |\n|---|---|")
    for mutant, how in sorted_as.items():
        if how != "killed":
            why = reasons.get(mutant, {"why": "not looked at yet"})["why"]
            shown = mutant.replace("|", "\\|")
            lines.append(f"| `{shown}` | {how}: {why} |")
    return "\n".join(lines) + "\n"


def main() -> int:
    """Write the page; 1 if a survivor is open."""
    configure()
    results = known_results(RESULTS)
    plain, lemmas = Plain(), places_of_lemmas(RESULTS.with_suffix(".lemmas.json"))
    scopes = {stated.name: places_of(stated, plain, lemmas) for stated in PROPERTIES}
    text = text_of(results, scopes, len(fair_order(FILES)))
    TABLE.write_text(text, encoding="utf-8")
    print(text)
    return 1 if "not looked at yet" in text else 0


if __name__ == "__main__":
    sys.exit(main())
