"""The table of outcomes."""

from collections.abc import Iterable

from tests.capture.identification.judging import OUTCOMES, STATED_RIGHT, STATED_WRONG, Verdict


def counts(judged: Iterable[Verdict]) -> dict[tuple[str, str], list[int]]:
    """Return the number of each outcome, by finding and row."""
    found: dict[tuple[str, str], list[int]] = {}
    for verdict in judged:
        row = found.setdefault((verdict.finding, verdict.row), [0] * len(OUTCOMES))
        row[verdict.outcome] += 1
    return found


def stated_right_share(rows: Iterable[list[int]]) -> float:
    """Return the share of statements that were right; 1 without statements."""
    right = wrong = 0
    for row in rows:
        right += row[STATED_RIGHT]
        wrong += row[STATED_WRONG]
    return right / (right + wrong) if right + wrong else 1.0


def markdown(judged: list[Verdict], captures: int) -> str:
    """Return the table, below a line that says how it was made."""
    found = counts(judged)
    lines = [
        f"{captures} captures; `uv run python -m tests.capture.identification {captures}` "
        f"makes this table. Of all that was stated {stated_right_share(found.values()):.2%} was right.",
        "",
        f"| finding | captures that | {' | '.join(OUTCOMES)} |",
        f"|---|---|{'---|' * len(OUTCOMES)}",
    ]
    order = list(dict.fromkeys(finding for finding, _ in found))
    for finding, row in sorted(found, key=lambda key: (order.index(key[0]), key[1])):
        cells = " | ".join(str(count) for count in found[finding, row])
        lines.append(f"| {finding} | {row or 'all'} | {cells} |")
    return "\n".join(lines)
