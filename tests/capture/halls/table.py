"""The tables of the documents: rates for each class of captures, findings, and calibration."""

from collections.abc import Iterable

from tests.capture.halls.grid import CLASSES, NOT_FIT
from tests.capture.halls.judging import Verdict

BEGIN, END = "<!-- identification: begin -->", "<!-- identification: end -->"
BINS = ((0.5, 0.7), (0.7, 0.9), (0.9, 0.95), (0.95, 0.98), (0.98, 1.01))


def right_of_stated(judged: Iterable[Verdict]) -> tuple[int, int]:
    """Return how many statements were right, and how many there were."""
    stated = [one.right for one in judged if one.stated]
    return sum(stated), len(stated)


def markdown(judged: list[Verdict], fit: dict[str, list[bool]]) -> str:
    """Return all tables; `fit` has for each class whether each capture was called fit."""
    captures = sum(len(called) for called in fit.values())
    right, stated = right_of_stated(judged)
    head = (
        f"{captures} captures; `uv run python -m tests.capture.halls {captures} --write` makes these tables. "
        f"Of {stated} statements {right / max(stated, 1):.2%} were right."
    )
    return "\n".join([head, "", *_classes(judged, fit), "", *_findings(judged), "", *_calibration(judged)])


def _classes(judged: list[Verdict], fit: dict[str, list[bool]]) -> list[str]:
    lines = ["| captures that are | number | should be | called fit | stated, right | stated, wrong |"]
    lines.append("|---|---|---|---|---|---|")
    for name in CLASSES:
        right, stated = right_of_stated(one for one in judged if one.name == name)
        called = fit.get(name, [])
        should = "not fit" if name in NOT_FIT else "fit"
        lines.append(f"| {name} | {len(called)} | {should} | {sum(called)} | {right} | {stated - right} |")
    return lines


def _findings(judged: list[Verdict]) -> list[str]:
    lines = ["| finding | stated, right | stated, wrong | guessed, right | guessed, wrong | can't tell |"]
    lines.append("|---|---|---|---|---|---|")
    for name in dict.fromkeys(one.finding for one in judged):
        some = [one for one in judged if one.finding == name]
        counts = [
            sum(one.stated and one.right for one in some),
            sum(one.stated and not one.right for one in some),
            sum(one.given and not one.stated and one.right for one in some),
            sum(one.given and not one.stated and not one.right for one in some),
            sum(not one.given for one in some),
        ]
        lines.append(f"| {name} | {' | '.join(map(str, counts))} |")
    return lines


def _calibration(judged: list[Verdict]) -> list[str]:
    """Return how often a confidence was right; yes-or-no findings have none and are left out."""
    lines = ["| confidence | findings | right |", "|---|---|---|"]
    for least, most in BINS:
        some = [one.right for one in judged if one.given and least <= one.confidence < min(most, 0.9999)]
        share = f"{sum(some) / len(some):.1%}" if some else "none"
        lines.append(f"| {least:.0%} to {min(most, 1.0):.0%} | {len(some)} | {share} |")
    return lines


def put_into(text: str, tables: str) -> str:
    """Return a document with the tables between its two marks; ValueError if they are not there."""
    before, begin, rest = text.partition(BEGIN)
    _, end, after = rest.partition(END)
    if not begin or not end:
        raise ValueError(f"the document has no {BEGIN} and {END}")
    return f"{before}{BEGIN}\n{tables}\n{END}{after}"
