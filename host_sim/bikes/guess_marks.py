"""Removes the GUESS marks of `treadle new` from values that were measured."""

import re
from collections.abc import Collection

GUESS = "# GUESS. "
_SECTION = re.compile(r"\s*\[\s*([\w-]+)\s*\]\s*(?:#.*)?")
_KEY = re.compile(r"\s*([\w-]+)\s*=")


def without_guess_marks(text: str, names: Collection[str]) -> str:
    """Return a bike file's text without the mark above the keys in `names`, as in battery.full_v.

    The text behind the mark, how to measure it, stays.
    """
    lines = text.split("\n")
    section = ""
    for number, line in enumerate(lines):
        if header := _SECTION.fullmatch(line):
            section = header[1]
        elif (key := _KEY.match(line)) and f"{section}.{key[1]}" in names:
            _take_mark_away(lines, number)
    return "\n".join(lines)


def _take_mark_away(lines: list[str], number: int) -> None:
    """Look at the comment that ends just above a line."""
    above = number - 1
    while above >= 0 and lines[above].startswith("#"):
        if lines[above].startswith(GUESS):
            lines[above] = "# " + lines[above].removeprefix(GUESS)
        above -= 1
