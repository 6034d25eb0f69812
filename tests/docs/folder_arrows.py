"""Which folder of host_sim imports which, in layers, for DEVELOPERS.md.

`uv run python -m tests.docs.folder_arrows` rewrites the drawing there; a test compares the two and
allows no cycle.
"""

import ast
from collections.abc import Iterator
from functools import cache
from graphlib import TopologicalSorter
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
DEVELOPERS = ROOT / "DEVELOPERS.md"
BEGIN = "<!-- folder arrows: made from the imports, do not edit -->\n"
END = "<!-- end of the folder arrows -->\n"
FILES = "(files)"  # What lies in host_sim itself: errors, text files, progress.


@cache
def folder_arrows(top: Path = ROOT / "host_sim") -> dict[str, set[str]]:
    """Return for each folder of `top` the folders that it imports, late imports too."""
    arrows: dict[str, set[str]] = {}
    for path in sorted(top.rglob("*.py")):
        here = _folder(path.relative_to(top).parts, top)
        targets = {_folder(name.split(".")[1:], top) for name in _imported(path, top.name)}
        arrows.setdefault(here, set()).update(targets - {here})
    return arrows


def layers(arrows: dict[str, set[str]]) -> list[list[str]]:
    """Return the folders in layers, each importing from those before it only.

    graphlib.CycleError if there is no such order.
    """
    sorter = TopologicalSorter(arrows)
    sorter.prepare()
    found = []
    while sorter.is_active():
        ready = sorted(sorter.get_ready())
        found.append(ready)
        sorter.done(*ready)
    return found


def drawing(arrows: dict[str, set[str]]) -> str:
    """Return a line for each folder, the lowest layer first."""
    width = max(map(len, arrows))
    lines = [
        f"{folder:{width}}  ← {', '.join(sorted(arrows[folder] - {FILES}))}".rstrip(" ←")
        for layer in layers(arrows)
        for folder in layer
    ]
    return "\n".join(["```", *lines, "```", ""])


def with_drawing(text: str) -> str:
    """Return the text of DEVELOPERS.md with the present drawing between its two marks."""
    before, rest = text.split(BEGIN)
    return before + BEGIN + drawing(folder_arrows()) + END + rest.split(END)[1]


def _folder(parts: "tuple[str, ...] | list[str]", top: Path) -> str:
    return parts[0] if parts and (top / parts[0]).is_dir() else FILES


def _imported(path: Path, package: str) -> Iterator[str]:
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        names = []
        if isinstance(node, ast.ImportFrom) and node.module:
            names = [f"{node.module}.{alias.name}" for alias in node.names]
        elif isinstance(node, ast.Import):
            names = [alias.name for alias in node.names]
        yield from (name for name in names if name.startswith(f"{package}."))


if __name__ == "__main__":
    DEVELOPERS.write_text(with_drawing(DEVELOPERS.read_text(encoding="utf-8")), encoding="utf-8")
