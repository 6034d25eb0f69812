"""Every key of a bike file with unit, range, typical value and source: for new files and for the README.

Ranges come from `model`, words from `key_notes`. `uv run python -m host_sim.bikes.keys` rewrites the table of
README.md.
"""

from collections.abc import Iterator
from pathlib import Path
from typing import Any

from host_sim.bikes.key_notes import NOTES
from host_sim.bikes.model import Bike
from host_sim.refusals import allowed_at, shown
from host_sim.tomlfile import Table

README = Path(__file__).resolve().parent / "README.md"
BEGIN = "<!-- keys: made from the model, do not edit -->"
END = "<!-- end of the keys -->"


def keys_of_model() -> Iterator[tuple[str, str]]:
    """Yield (section, key) for every key of a bike file, in the order of the model; section "" at the top."""
    for name, field in Bike.model_fields.items():
        inside = field.annotation
        if isinstance(inside, type) and issubclass(inside, Table):
            for key in inside.model_fields:
                yield name, key
        else:
            yield "", name


def dotted(section: str, key: str) -> str:
    """Return the full name of a key."""
    return f"{section}.{key}" if section else key


def range_of(section: str, key: str) -> str:
    """Return which values a key may have, and its unit."""
    if key == "settings" and not section:
        return "whole numbers, each in the range of firmware/settings.py"
    return allowed_at((section, key) if section else (key,), Bike)


def default_of(section: str, key: str) -> str:
    """Return the default of a key; empty if it is required."""
    table: Any = Bike.model_fields[section].annotation if section else Bike
    field = table.model_fields[key]
    if field.is_required() or key == "settings":
        return ""
    return "none" if field.default is None else shown(field.default)


def table_lines() -> list[str]:
    """Return the table of all keys, as Markdown."""
    lines = [
        "| key | what it is | unit and range | if left out | typical | source of the typical value |",
        "|---|---|---|---|---|---|",
    ]
    for section, key in keys_of_model():
        note = NOTES[dotted(section, key)]
        cells = (
            f"`{dotted(section, key)}`",
            note.meaning,
            range_of(section, key),
            default_of(section, key) or "refused" if key != "settings" else "empty",
            note.typical,
            note.source,
        )
        lines.append("| " + " | ".join(cells) + " |")
    return lines


def readme_with_table(text: str) -> str:
    """Return the README with its table regenerated."""
    before, _, rest = text.partition(BEGIN)
    _, _, after = rest.partition(END)
    return before + "\n".join([BEGIN, *table_lines(), END]) + after


if __name__ == "__main__":
    README.write_text(readme_with_table(README.read_text(encoding="utf-8")), encoding="utf-8")
