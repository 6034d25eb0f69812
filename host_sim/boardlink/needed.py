"""Which files a board needs: its main.py, and whatever that imports of ours, and so on."""

import ast
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]


def needed_files(board: str) -> dict[str, bytes]:
    """Return name and source of every file that belongs on `board`, main.py at the top, sorted by name."""
    start = ROOT / "boards" / board / "main.py"
    found = {"main.py": start.read_bytes()}
    waiting = [start]
    while waiting:
        for path in imported_by(waiting.pop()):
            name = path.relative_to(ROOT).as_posix()
            if name not in found:
                found[name] = path.read_bytes()
                waiting.append(path)
    return dict(sorted(found.items()))


def imported_by(path: Path) -> list[Path]:
    """Return our files that are loaded when `path` is imported: modules, and the packages they lie in."""
    paths: list[Path] = []
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
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
