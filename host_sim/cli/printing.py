"""Prints tables of two columns, and the findings of an inspection."""

from collections.abc import Sequence
from pathlib import Path

from host_sim.textfile import spoken

Rows = list[tuple[str, str]]
WIDTH = 80


def print_rows(rows: Rows) -> None:
    """Print names and values side by side; a value may have several lines."""
    width = max(len(name) for name, _ in rows) + 2
    for name, value in rows:
        print(f"{name:<{width}}" + value.replace("\n", "\n" + " " * width))


def print_findings(rows: Rows, files: Sequence[Path], advice: Sequence[str], why: Sequence[str]) -> None:
    """Print the rows of an inspection, its files, what to do, and why the sensor is not shown to be fit."""
    print_rows([*rows, ("files", "\n".join(spoken(path) for path in files))])
    for sentence in advice:
        print(f"* {sentence}")
    if why:
        print(f"not shown to be fit: {'; '.join(why)}")
