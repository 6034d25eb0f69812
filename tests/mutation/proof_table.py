"""Writes tests/PROOF_KILLS.md from the results of mutants against the proofs, and what is known of survivors.

uv run python -m tests.mutation.proof_table
"""

import sys
import tomllib
from collections import Counter
from math import ceil, floor
from pathlib import Path
from typing import Any

from host_sim.proof.properties import PROPERTIES, Property
from host_sim.proof.whole.evidence import jobs_of
from tests.mutation.proof_kills import SAME, Plain
from tests.mutation.proof_lemmas import Place, places_of_lemmas
from tests.mutation.proof_mutants import FILES, ROOT, configure, fair_order
from tests.mutation.prove import RESULTS, known_results

SURVIVORS = Path(__file__).parent / "proof_survivors.toml"
TABLE = ROOT / "tests" / "PROOF_KILLS.md"
EQUIVALENT, OUTSIDE, OPEN = "equivalent", "outside", "open"
HEAD = """# Mutants of the firmware against `treadle prove` alone

{extent} (`tests/mutation/proof_mutants.py`).
A mutant keeps the types: one that puts None for a number, leaves out an argument or divides with `/` is
refused by the interpreter at once, says nothing about the proofs and is not counted. `loop.py` and `link/`
are not tried: no property is about them. To repeat:
`uv run python -m tests.mutation.prove --quick --results NEW.jsonl`, then the same with `--again` instead of
`--quick`; without `--results` it continues from `tests/mutation/proof_results.jsonl`. Then
`uv run python -m tests.mutation.proof_table` writes this page.

Killed: {killed} of {tried}: {by_exact} by an exact contract, {by_others} by a statement, an invariant or
another contract, {by_lemma} by a lemma. A kill is a claim that is refuted ({refuted}) or not proved within
small limits ({unshown}), or a refusal ({refused}). The first kill ends the search, and exact contracts are
tried first, so these numbers do not compare the kinds of claims.

Of the others {equivalent} are equivalent: they behave as the firmware does ({same} proved so by an exact
contract that covers all that the function does). {outside} behave differently in a way that no sentence
covers, and {open} are not classified yet. Of the {different} that are not equivalent {killed} are killed:
{percent} %{interval}.

In the scope of a property is what its own statements and lemmas run, or where it has no statement all that it
rests on; for many it is most of the firmware.
"""
COLUMNS = "| {} | mutants | killed | equivalent | outside its sentence | open |\n|---|---|---|---|---|---|"


def places_of(stated: Property, plain: Plain, lemmas: dict[str, set[Place]]) -> set[Place]:
    """Return file and name of what a property's statements, or where it has none its jobs, and lemmas run."""
    places = {
        (module.removeprefix("firmware.").replace(".", "/") + ".py", name)
        for job in jobs_of(stated.statements) or stated.jobs
        for module, name in plain.entered[job]
    }
    return places.union(*(lemmas[name] for name in stated.lemmas))


def sort(entry: dict[str, Any], reasons: dict[str, dict[str, str]]) -> str:
    """Return "killed", or what is known of a survivor."""
    if entry["how"]:
        return "killed"
    if entry["by"].startswith(SAME):
        return EQUIVALENT
    return reasons.get(entry["mutant"], {"class": OPEN})["class"]


def interval_percent(killed: int, of: int) -> tuple[int, int]:
    """Return the 95 % interval of a share in percent: Wilson, "Probable inference" (1927)."""
    z2 = 1.96**2
    middle = (killed + z2 / 2) / (of + z2)
    half = 1.96 / (of + z2) * (killed * (of - killed) / of + z2 / 4) ** 0.5
    return floor(100 * (middle - half)), ceil(100 * (middle + half))


def counts(results: dict[str, dict[str, Any]], sorts: Counter[str], count: int) -> dict[str, Any]:
    """Return the numbers of the page's first part."""
    killed = [entry for entry in results.values() if entry["how"]]
    hows = Counter(entry["how"] for entry in killed)
    by_exact = sum(entry["by"].startswith(("exact ", "joined ")) for entry in killed)
    different = len(results) - sorts[EQUIVALENT]
    interval = ""
    if len(results) < count:
        low, high = interval_percent(len(killed), different)
        interval = f", and with 95 % confidence {low} to {high} % of all (interval after Wilson)"
    return {
        "interval": interval,
        "tried": len(results),
        "killed": len(killed),
        "by_exact": by_exact,
        "by_lemma": hows["lemma"],
        "by_others": len(killed) - by_exact - hows["lemma"],
        "refuted": hows["refuted"] + hows["lemma"],
        "unshown": hows["not shown"],
        "refused": hows["refused"],
        "equivalent": sorts[EQUIVALENT],
        "same": sum(not entry["how"] and entry["by"].startswith(SAME) for entry in results.values()),
        "outside": sorts[OUTSIDE],
        "open": sorts[OPEN],
        "different": different,
        "percent": round(100 * len(killed) / different),
    }


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
    numbers = counts(results, Counter(sorted_as.values()), count)
    extent = f"All {count} mutants"
    if len(results) < count:
        extent = f"The first {len(results)} of {count} mutants, of which each file has its share"
    lines = [HEAD.format(extent=extent, **numbers), COLUMNS.format("property")]
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
            known = results[mutant]["by"] or "not classified yet"
            why = reasons.get(mutant, {"why": known})["why"]
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
    return 1 if "not classified yet |" in text else 0


if __name__ == "__main__":
    sys.exit(main())
