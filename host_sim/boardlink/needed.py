"""Finds the files that a board needs: its main.py, and our files that it imports, directly or indirectly."""

import ast
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]


def needed_files(board: str, replaced: dict[str, bytes] | None = None) -> dict[str, bytes]:
    """Return name and source of every file that belongs on `board`, main.py at the top, sorted by name.

    `replaced` are sources that replace files of ours; the imports of the replaced files are then not needed.
    """
    replaced = replaced or {}
    found = {"main.py": (ROOT / "boards" / board / "main.py").read_bytes()}
    waiting = ["main.py"]
    while waiting:
        for path in imported_by(found[waiting.pop()]):
            name = path.relative_to(ROOT).as_posix()
            if name not in found:
                found[name] = replaced.get(name) or path.read_bytes()
                waiting.append(name)
    return dict(sorted(found.items()))


def imported_by(source: bytes) -> list[Path]:
    """Return our files that are loaded when `source` is imported: modules, and the packages they are in."""
    paths: list[Path] = []
    for node in ast.walk(ast.parse(source)):
        names: list[str] = []
        if isinstance(node, ast.Import):
            names = [alias.name for alias in node.names]
        elif isinstance(node, ast.ImportFrom) and node.module:
            # A name imported from a package may be a module.
            names = [node.module, *(f"{node.module}.{alias.name}" for alias in node.names)]
        for name in names:
            paths += _files_of(name)
    return paths


def _files_of(module: str) -> list[Path]:
    """Return our files of a module; none for a module of the runtime."""
    parts = module.split(".")
    packages = [ROOT.joinpath(*parts[:depth], "__init__.py") for depth in range(1, len(parts) + 1)]
    whole = ROOT.joinpath(*parts).with_suffix(".py")
    return [path for path in (*packages, whole) if parts[0] in ("boards", "firmware") and path.is_file()]
