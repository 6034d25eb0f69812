"""Prints results: JSON, tables of two columns, the files, and the findings of an inspection."""

import json
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Any

from host_sim.textfile import spoken

Rows = list[tuple[str, str]]
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


def print_rows(rows: Sequence[tuple[str, str]]) -> None:
    """Print names and values side by side; a value may have several lines, which are not wrapped."""
    width = max(len(name) for name, _ in rows) + 2
    for name, value in rows:
        print(f"{name:<{width}}" + value.replace("\n", "\n" + " " * width))


def print_files(files: Sequence[str | Path]) -> None:
    """Print the paths of the files, one a line, so that they can be copied."""
    print_rows([("files", "\n".join(spoken(path) for path in files))])


def print_findings(rows: Rows, files: Sequence[Path], advice: Sequence[str], why: Sequence[str]) -> None:
    """Print the rows of an inspection, its files, what to do, and why the sensor is not shown to be fit."""
    print_rows([*rows, ("files", "\n".join(spoken(path) for path in files))])
    for sentence in advice:
        print(f"* {sentence}")
    if why:
        print(f"not shown to be fit: {'; '.join(why)}")
