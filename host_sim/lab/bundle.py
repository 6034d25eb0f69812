"""What a browser needs of this project: the modules that a lesson may import, and the files that they read.

Modules are found by following import statements from the roots, including those inside functions. None of
them reaches the texts for teachers.
"""

import ast
import io
import zipfile
from pathlib import Path

from host_sim.lab.catalogue import NAMES
from host_sim.lab.riding import LESSON_BIKE

PROJECT = Path(__file__).resolve().parents[2]
WEB = Path(__file__).resolve().parent / "web"
ROOTS = ("host_sim.lab.in_page", *(f"host_sim.lab.lessons.{name}" for name in NAMES))
READ = (f"host_sim/bikes/{LESSON_BIKE}.toml", "host_sim/places/places.toml")
STAND_INS = {
    "pydantic.py": "unchecked_models.py",
    "pydantic_core.py": "unchecked_errors.py",
    "annotated_types.py": "unchecked_ranges.py",
}
"""Modules of other projects whose place a file of ours takes, and that file in the folder `web`."""
_EARLIEST = (1980, 1, 1, 0, 0, 0)  # The same content gives the same bytes at any time.


def bundle() -> bytes:
    """Return a zip of all that Python in a browser needs beside its standard library."""
    packed = io.BytesIO()
    with zipfile.ZipFile(packed, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, content in sorted(contents().items()):
            archive.writestr(zipfile.ZipInfo(name, _EARLIEST), content, zipfile.ZIP_DEFLATED)
    return packed.getvalue()


def contents() -> dict[str, bytes]:
    """Return the files by their name in the zip."""
    files = {path.relative_to(PROJECT).as_posix(): path.read_bytes() for path in _modules()}
    files.update({name: (PROJECT / name).read_bytes() for name in READ})
    files.update({name: (WEB / file).read_bytes() for name, file in STAND_INS.items()})
    return files


def _modules() -> set[Path]:
    """Return the files of all modules that the roots import, directly or through others."""
    found: set[Path] = set()
    waiting = list(ROOTS)
    seen: set[str] = set()
    while waiting:
        name = waiting.pop()
        if name in seen:
            continue
        seen.add(name)
        path = _file_of(name)
        if path is None:
            continue
        found.add(path)
        waiting += [name.rpartition(".")[0], *_imported(path)]
    return found


def _file_of(name: str) -> Path | None:
    """Return the file of a module of this project; None for other modules, and for names inside modules."""
    if name.split(".")[0] not in ("firmware", "host_sim"):
        return None
    base = PROJECT.joinpath(*name.split("."))
    for path in (base.with_suffix(".py"), base / "__init__.py"):
        if path.is_file():
            return path
    return None


def _imported(path: Path) -> list[str]:
    """Return the names that a file imports; `from a import b` may mean the module a.b as well."""
    names: list[str] = []
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Import):
            names += [one.name for one in node.names]
        elif isinstance(node, ast.ImportFrom) and node.module is not None:
            names += [node.module, *(f"{node.module}.{one.name}" for one in node.names)]
    return names
