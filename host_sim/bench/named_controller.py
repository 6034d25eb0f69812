"""A controller named on the command line: `module_or_file:Class`. Workers load it by that name.

In a process with the compiled bench no class can inherit from our controller, so `foreign` is imported only
where it is needed.
"""

import importlib
import importlib.util
import sys
from hashlib import sha256
from pathlib import Path
from types import ModuleType
from typing import Any

from firmware.controller import Controller
from firmware.settings import Settings
from host_sim.errors import RequestError
from host_sim.refusals import closest
from host_sim.textfile import spoken

ALLOWED = "allowed is module_or_file:Class, such as mine.py:Mine"
MODULE_PREFIX = "treadle_controller_"
PACKAGES = "site-packages"  # Where others' packages are installed, in a virtual environment too.


class NamedController:
    """Builds the controller that `text` names. RequestError says what is wrong with it."""

    def __init__(self, text: str, folder: Path | None = None) -> None:
        """Load the class. Files and modules are searched in `folder`; None is the current folder."""
        self.text = text
        self.folder = Path.cwd() if folder is None else folder
        self._make = _load(text, self.folder)

    def __reduce__(self) -> tuple[Any, ...]:
        return NamedController, (self.text, self.folder)

    def __call__(self, settings: Settings, now_us: int) -> Controller:
        """Build one."""
        from host_sim.bench.foreign import build

        return build(self._make, settings, now_us, self.text.rpartition(":")[2])

    @property
    def shows_all(self) -> bool:
        """Whether every rule can be checked: a subclass of our Controller."""
        from host_sim.bench.foreign import shows_all

        return shows_all(self._make)

    def digest(self) -> str:
        """Return a digest of the class's own source files: if one of them changes, rides are not reused."""
        digest = sha256(self.text.encode())
        for path in _own_files(sys.modules[self._make.__module__]):
            digest.update(b"\0" + path.name.encode() + b"\0" + path.read_bytes())
        return digest.hexdigest()[:16]


def named_controller(text: str | None, settings: Settings) -> NamedController | None:
    """Return the controller that --controller names, after building it once with `settings` as a check."""
    if text is None:
        return None
    named = NamedController(text)
    try:
        named(settings, 0)
    except RequestError as error:
        raise RequestError(f"--controller is {text[:80]!r}: {error}") from None
    return named


def _load(text: str, folder: Path) -> Any:
    from host_sim.bench.foreign import what_was_raised

    place, _, name = text.rpartition(":")
    if not place or not name.isidentifier():
        raise RequestError(f"--controller is {text[:80]!r}, {ALLOWED}")
    is_file = place.endswith(".py") or "/" in place or "\\" in place
    if not is_file and not all(part.isidentifier() for part in place.split(".")):
        raise RequestError(f"--controller is {text[:80]!r}, {ALLOWED}")
    try:
        module = _from_file(folder / place) if is_file else _from_module(place, folder)
    except RequestError:
        raise
    except (Exception, SystemExit) as error:
        if isinstance(error, ModuleNotFoundError) and (error.name or "") in _parents(place):
            raise RequestError(
                f"--controller names the module {place}, which was not found; {ALLOWED}"
            ) from None
        hint = "; name a file of a package as a module, such as package.mine:Mine" if is_file else ""
        raise RequestError(
            f"--controller: {place} can't be imported, it {what_was_raised(error)}"
            f"{hint if 'relative import' in str(error) else ''}"
        ) from None
    found = getattr(module, name, None)
    if found is None:
        classes = [key for key, value in vars(module).items() if isinstance(value, type)]
        hint = closest(name, classes) if classes else "it has no class"
        raise RequestError(f"--controller names the class {name}, which {place} does not have: {hint}")
    if not isinstance(found, type) or not callable(getattr(found, "step", None)):
        raise RequestError(
            f"--controller names {name} in {place}, which is not a class with a method step(inputs, now_us); "
            f"{ALLOWED}"
        )
    return found


def _parents(place: str) -> list[str]:
    parts = place.split(".")
    return [".".join(parts[:count]) for count in range(1, len(parts) + 1)]


def _own_files(module: ModuleType) -> list[Path]:
    """Return the files of `module` and of what is loaded from its folder, or from its whole package."""
    if not module.__file__:
        return []
    home = Path(module.__file__).resolve().parent
    for _ in range(module.__name__.count(".")):
        home = home.parent
    if home.name == PACKAGES:
        home = home / module.__name__.partition(".")[0]
    found = {Path(module.__file__).resolve()}
    for name, loaded in list(sys.modules.items()):
        file = getattr(loaded, "__file__", None)
        if file and name.partition(".")[0] not in ("boards", "firmware", "host_sim"):
            path = Path(file).resolve()
            if path.is_relative_to(home) and PACKAGES not in path.relative_to(home).parts:
                found.add(path)
    return sorted(found)


def _from_module(place: str, folder: Path) -> ModuleType:
    _search(folder)
    return importlib.import_module(place)


def _from_file(path: Path) -> ModuleType:
    path = path.resolve()
    if not path.is_file():
        raise RequestError(
            f"--controller names the file {spoken(path.name)}, which does not exist; {ALLOWED}"
        )
    name = MODULE_PREFIX + sha256(str(path).encode()).hexdigest()[:12]
    if name in sys.modules:
        return sys.modules[name]
    _search(path.parent)
    spec = importlib.util.spec_from_file_location(name, path)
    if spec is None or spec.loader is None:
        raise RequestError(f"--controller names the file {spoken(path.name)}, which is not Python; {ALLOWED}")
    module = importlib.util.module_from_spec(spec)
    sys.modules[name] = module
    try:
        spec.loader.exec_module(module)
    except BaseException:
        del sys.modules[name]
        raise
    return module


def _search(folder: Path) -> None:
    """Add `folder` to the end of the import path."""
    if str(folder) not in sys.path:
        sys.path.append(str(folder))
