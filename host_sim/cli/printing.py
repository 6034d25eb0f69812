"""Prints results: JSON, tables, sentences in 80 columns, and the files written."""

import json
from collections.abc import Callable, Collection, Sequence
from pathlib import Path
from textwrap import wrap
from typing import Any

from host_sim.textfile import spoken

WIDTH = 80


def print_json(numbers: Any) -> None:
    """Print a result as one line of JSON; ValueError for a number that JSON doesn't have."""
    print(json.dumps(numbers, allow_nan=False))


def printing_unless(as_json: bool) -> Callable[[str], None]:
    """Return a function that prints a line; with --json it prints nothing."""
    return lambda line: None if as_json else print(line)


def rounded(value: float | None, digits: int) -> float | None:
    """Return a number for JSON with so many decimals; None stays None."""
    return None if value is None else round(value, digits)


def whence(from_start: bool) -> str:
    """Return in words where the recorded steps of a board begin."""
    return "from the board's start" if from_start else "from the middle of a ride"


def print_rows(rows: Sequence[tuple[str, str]]) -> None:
    """Print names and values side by side; a value may have several lines, which are not wrapped."""
    width = max(len(name) for name, _ in rows) + 2
    for name, value in rows:
        print(f"{name:<{width}}" + value.replace("\n", "\n" + " " * width))


def table_lines(rows: Sequence[Sequence[str]], to_the_right: Collection[int], gap: str = "  ") -> list[str]:
    """Return the lines of a table whose rows have equally many cells; some columns are set to the right."""
    widths = [max(map(len, column)) for column in zip(*rows, strict=True)]
    lines = []
    for row in rows:
        cells = [
            f"{cell:>{width}}" if column in to_the_right else f"{cell:<{width}}"
            for column, (cell, width) in enumerate(zip(row, widths, strict=True))
        ]
        lines.append(gap.join(cells).rstrip())
    return lines


def wrapped(text: str, indent: str = "", more: str = "  ") -> list[str]:
    """Return a sentence in lines of WIDTH, those after the first indented by `more`; words stay whole."""
    return wrap(
        text,
        WIDTH,
        initial_indent=indent,
        subsequent_indent=indent + more,
        break_long_words=False,
        break_on_hyphens=False,
    )


def print_wrapped(text: str, indent: str = "", more: str = "  ") -> None:
    """Print a sentence as `wrapped` returns it."""
    print("\n".join(wrapped(text, indent, more)))


def files_row(files: Sequence[str | Path]) -> tuple[str, str]:
    """Return the row of a table with the paths of the files, one a line, so that they can be copied."""
    return "files", "\n".join(spoken(path) for path in files)


def print_files(files: Sequence[str | Path]) -> None:
    """Print the paths of the files alone."""
    print_rows([files_row(files)])
