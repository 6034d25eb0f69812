"""Writes the lab into a folder that needs no Python: for any web server, and for a double-click.

Three files with everything inside: a page opened from a disk may load scripts, but fetch nothing.
They contain large content as base64 of gzip.
"""

import base64
import gzip
import json
from collections.abc import Callable
from importlib.metadata import distribution
from pathlib import Path

from host_sim.errors import RequestError
from host_sim.lab.bundle import bundle
from host_sim.lab.page import WEB, page
from host_sim.lab.runtime import PACKAGE, VERSION, Runtime, runtime_from
from host_sim.lab.snapshot import recorded
from host_sim.textfile import spoken

PAGE, RUNTIME, LESSONS, LICENCES = "index.html", "runtime.js", "lessons.js", "licences.txt"
NO_BROWSER = (
    "No Chromium was found to prepare the start, so the first figure takes a few seconds longer. To avoid "
    "that, install Chromium and export again."
)
_NONCE = "lab"
Record = Callable[[dict[str, object], dict[str, str]], bytes | None]


class Export:
    """Where to write the lab, and with which runtime. RequestError says what is wrong."""

    def __init__(self, folder: Path, runtime: Path | None) -> None:
        """Check the folder, and get the runtime."""
        self.folder = folder
        if folder.exists() and (not folder.is_dir() or any(folder.iterdir())):
            raise RequestError(f"--export {spoken(str(folder))} exists, allowed is a new or an empty folder")
        self.runtime = runtime_from(runtime)

    def write(self, record: Record = recorded) -> str | None:
        """Write the files; returns a notice if the start could not be prepared."""
        told: dict[str, object] = {
            "mode": "worker",
            "lock": self.runtime.lock,
            "worker": (WEB / "worker.js").read_text(encoding="utf-8"),
        }
        scripts = {RUNTIME: _script(self.runtime.files), LESSONS: _script({"project.zip": bundle()})}
        memory = record(told, scripts)
        if memory is not None:
            scripts[LESSONS] = _script({"project.zip": bundle(), "snapshot": memory})
        files = {
            PAGE: page(_NONCE, "'none'", told, (RUNTIME, LESSONS)),
            LICENCES: _licences(self.runtime),
            **scripts,
        }
        try:
            self.folder.mkdir(parents=True, exist_ok=True)
            for name, text in files.items():
                (self.folder / name).write_text(text, encoding="utf-8", newline="\n")
        except OSError as error:
            raise RequestError(f"--export {spoken(str(self.folder))}: {error.strerror}") from None
        return None if memory is not None else NO_BROWSER


def _script(files: dict[str, bytes]) -> str:
    """Return a script that adds files, packed, to those that the page has."""
    packed = {
        name: base64.b64encode(gzip.compress(data, 6, mtime=0)).decode("ascii")
        for name, data in files.items()
    }
    return f"self.TREADLE_FILES = Object.assign(self.TREADLE_FILES ?? {{}}, {json.dumps(packed)});\n"


def _licences(runtime: Runtime) -> str:
    """Return the parts of the folder, with their licence texts."""
    ours = _own_licence()
    texts = [(WEB / "licences" / name).read_text(encoding="utf-8") for name in ("MPL-2.0.txt", "Python.txt")]
    head = (
        f"{PAGE} and {LESSONS}: Treadle, MIT License.\n"
        f"{RUNTIME}: files of the npm package {PACKAGE} {VERSION}, unchanged, Mozilla Public License 2.0; "
        f"its source: {runtime.source}. Inside it, and in the memory kept in {LESSONS}: Python and its "
        "standard library, Python Software Foundation License 2.\n"
    )
    return ("\n\n" + "=" * 78 + "\n\n").join([head, ours, *texts])


def _own_licence() -> str:
    """Return this project's licence: from the clone, or from the installed package."""
    clone = WEB.parents[2] / "LICENSE"
    if clone.is_file():
        return clone.read_text(encoding="utf-8")
    return distribution("treadle").read_text("licenses/LICENSE") or "MIT License\n"
