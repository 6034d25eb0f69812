"""Drawings of characters: a channel as a two-row trace, a bar with marks, columns over time.

They consist of box characters, or of ASCII if the terminal can't show these.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

_EIGHTHS = 8


@dataclass(frozen=True, slots=True)
class Characters:
    """The characters for traces, bars and columns."""

    high: str
    low: str
    rise_upper: str
    rise_lower: str
    fall_upper: str
    fall_lower: str
    both: str
    missing: str
    filled: str
    rest: str
    mark: str
    columns: str


BOX = Characters("─", "─", "┌", "┘", "┐", "└", "│", "·", "█", "░", "╵", " ▁▂▃▄▅▆▇█")
ASCII = Characters("-", "_", ".", "'", ".", "'", "|", ":", "#", "-", "'", " .:-=+*#@")


def trace_rows(levels: Sequence[int | None], width: int, per_column: int, kit: Characters) -> tuple[str, str]:
    """Return the upper and lower row of one channel's trace, `width` wide, the newest at the right.

    `levels` are 0 or 1, None where a sample is missing; `per_column` samples share a column. If a channel
    changes both ways within a column, both rows show a vertical line.
    """
    upper, lower = "", ""
    wanted = width * per_column
    shown: list[int | None] = list(levels)[-wanted:]
    shown[:0] = [None] * (wanted - len(shown))
    last: int | None = None
    for start in range(0, wanted, per_column):
        group = shown[start : start + per_column]
        above, below = _column([last, *group] if last is not None else group, group[-1], kit)
        upper += above
        lower += below
        last = group[-1]
    return upper, lower


def bar_rows(
    value: float, top: float, marks: Sequence[float], words: str, width: int, kit: Characters
) -> tuple[str, str]:
    """Return a bar from 0 to `top` and, below it, ticks at `marks` with `words` beside or between them.

    If the words don't fit, they replace the ticks.
    """
    filled = min(max(round(value / top * width), 0), width)
    bar = kit.filled * filled + kit.rest * (width - filled)
    places = sorted({min(max(round(mark / top * width), 0), width - 1) for mark in marks})
    # From tick to tick; the rightmost gap that is wide enough takes the words, with a space on either side.
    for left, right in reversed([*pairwise([-2, *places, width + 1])]):
        if right - left >= len(words) + 3:
            below = [kit.mark if at in places else " " for at in range(width)]
            below[left + 2 : left + 2 + len(words)] = words
            return bar, "".join(below)
    return bar, words[:width].ljust(width)


def column_rows(values: Sequence[float], top: float, width: int, height: int, kit: Characters) -> list[str]:
    """Return `height` rows of columns from 0 to `top`, one for each value, the newest at the right."""
    shown = list(values)[-width:]
    eighths = [min(max(round(value / top * height * _EIGHTHS), 0), height * _EIGHTHS) for value in shown]
    rows = []
    for row in reversed(range(height)):
        line = "".join(kit.columns[min(max(value - row * _EIGHTHS, 0), _EIGHTHS)] for value in eighths)
        rows.append(line.rjust(width))
    return rows


def _column(group: Sequence[int | None], newest: int | None, kit: Characters) -> tuple[str, str]:
    if newest is None or None in group:
        return kit.missing, kit.missing
    changes = sum(one != other for one, other in pairwise(group))
    if changes > 1:
        return kit.both, kit.both
    if changes == 1:
        return (kit.rise_upper, kit.rise_lower) if newest else (kit.fall_upper, kit.fall_lower)
    return (kit.high, " ") if newest else (" ", kit.low)
