"""Makes one process import the compiled copy of the hot part instead of its sources.

A process that needs fast rides calls `compiled_first` before it imports anything hot. From then on importing
a compiled module gives the machine code, and everything else comes from the sources as usual: packages,
data files, and code that needs pydantic or numpy. The process that requests rides stays interpreted.
"""

import sys
from collections.abc import Sequence
from importlib.abc import MetaPathFinder
from importlib.machinery import ModuleSpec
from importlib.util import spec_from_file_location
from pathlib import Path
from types import ModuleType


class CopyFinder(MetaPathFinder):
    """Finds the compiled modules of a copy; packages come from the sources."""

    def __init__(self, folder: Path) -> None:
        """List the compiled modules."""
        self.modules: dict[str, Path] = {}
        for path in folder.rglob("*"):
            if path.suffix in (".so", ".pyd"):
                place = path.relative_to(folder).with_name(path.name.split(".")[0])
                if place.name != "__init__":
                    self.modules[".".join(place.parts)] = path

    def find_spec(
        self, fullname: str, path: Sequence[str] | None, target: ModuleType | None = None
    ) -> ModuleSpec | None:
        """Return the location of a compiled module; None for any other name."""
        found = self.modules.get(fullname)
        return None if found is None else spec_from_file_location(fullname, found)


def compiled_first(folder: Path) -> None:
    """Let this process import the copy in `folder` (see `compiled_copy`) instead of the sources.

    RuntimeError if a module of the copy has been imported already: a mixture would not work.
    """
    finder = CopyFinder(folder)
    early = sorted(set(finder.modules) & set(sys.modules))
    if early:
        raise RuntimeError(f"{early[0]} is imported already, the compiled copy would come too late")
    sys.meta_path.insert(0, finder)


def runs_compiled() -> bool:
    """Return whether this process rides compiled."""
    return any(isinstance(finder, CopyFinder) for finder in sys.meta_path)
