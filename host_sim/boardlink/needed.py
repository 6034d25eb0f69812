"""Which files a board needs: its main.py, and whatever that imports of ours, and so on."""

import ast
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]


def needed_files(board: str, replaced: dict[str, bytes] | None = None) -> dict[str, bytes]:
    """Return name and source of every file that belongs on `board`, main.py at the top, sorted by name.

    `replaced` are sources that stand in for files of ours; what those import is then not needed for them.
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
    """Return our files that are loaded when `source` is imported: modules, and the packages they lie in."""
    paths: list[Path] = []
    for node in ast.walk(ast.parse(source)):
        names: list[str] = []
        if isinstance(node, ast.Import):
            names = [alias.name for alias in node.names]
        elif isinstance(node, ast.ImportFrom) and node.module:
            # What is imported from a package may be a module of its own.
            names = [node.module, *(f"{node.module}.{alias.name}" for alias in node.names)]
        for name in names:
            paths += _files_of(name)
    return paths


def _files_of(module: str) -> list[Path]:
    """Return the files of ours behind a module's name; none for what the runtime brings."""
    parts = module.split(".")
    packages = [ROOT.joinpath(*parts[:depth], "__init__.py") for depth in range(1, len(parts) + 1)]
    whole = ROOT.joinpath(*parts).with_suffix(".py")
    return [path for path in (*packages, whole) if parts[0] in ("boards", "firmware") and path.is_file()]
