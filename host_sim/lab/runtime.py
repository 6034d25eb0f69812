"""Python for browsers: the npm package pyodide, one pinned version, checked before it is opened.

It is not part of this project or its repository. An export takes it from a file that somebody has
downloaded (`--runtime FILE`), from the cache, or once from npm, if that is installed.
"""

import hashlib
import json
import os
import shutil
import subprocess
import sys
import tarfile
import tempfile
from dataclasses import dataclass
from io import BytesIO
from pathlib import Path
from typing import Any

from host_sim.errors import RequestError
from host_sim.textfile import spoken

PACKAGE, VERSION = "pyodide", "314.0.7"
SHA256 = "66b7949e5a0cba2250b586d7e368bf12fb482800748d182c4618254b685ffaa0"
FILE = f"{PACKAGE}-{VERSION}.tgz"
NEEDED = ("pyodide.mjs", "pyodide.asm.mjs", "pyodide.asm.wasm", "python_stdlib.zip")
_FILE_MAX_BYTES = 64_000_000
_FETCH_MAX_S = 300.0
GET = f"`npm pack {PACKAGE}@{VERSION}` gets it on any computer with npm, then `--runtime {FILE}`"


@dataclass(frozen=True, slots=True)
class Runtime:
    """What an export takes from the package; `source` is where its source code is."""

    files: dict[str, bytes]
    lock: dict[str, Any]
    source: str


def runtime_from(file: Path | None) -> Runtime:
    """Return the runtime from `file`, from the cache or from npm; RequestError says how to get it."""
    if file is not None:
        return _opened(_checked(_read(file), f"--runtime {spoken(file.name)}"))
    kept = cache_folder() / FILE
    if kept.is_file():
        return _opened(_checked(_read(kept), str(kept)))
    data = _checked(_fetched(), f"what npm gave for {PACKAGE}@{VERSION}")
    _keep(data, kept)
    return _opened(data)


def cache_folder() -> Path:
    """Return where downloaded files are kept on this system."""
    if os.name == "nt":
        return Path(os.environ.get("LOCALAPPDATA", Path.home() / "AppData/Local")) / "treadle"
    if sys.platform == "darwin":
        return Path.home() / "Library/Caches/treadle"
    return Path(os.environ.get("XDG_CACHE_HOME") or Path.home() / ".cache") / "treadle"


def _keep(data: bytes, kept: Path) -> None:
    """Write the cached file whole, also when another process does so at the same time."""
    kept.parent.mkdir(parents=True, exist_ok=True)
    handle, part = tempfile.mkstemp(prefix=f"{PACKAGE}-unfinished-", dir=kept.parent)
    try:
        with os.fdopen(handle, "wb") as file:
            file.write(data)
        os.replace(part, kept)
    finally:
        Path(part).unlink(missing_ok=True)


def _read(file: Path) -> bytes:
    try:
        size = file.stat().st_size
        if size > _FILE_MAX_BYTES:
            raise RequestError(f"{spoken(file.name)} has {size} bytes, the package has fewer than 64 MB")
        return file.read_bytes()
    except OSError as error:
        raise RequestError(f"--runtime {spoken(file.name)} can't be read: {error.strerror}; {GET}") from None


def _checked(data: bytes, place: str) -> bytes:
    """Return the bytes of the package; RequestError if they differ."""
    digest = hashlib.sha256(data).hexdigest()
    if digest != SHA256:
        raise RequestError(
            f"{place} has SHA-256 {digest[:16]}…, allowed is {PACKAGE} {VERSION} with {SHA256[:16]}…; {GET}"
        )
    return data


def _fetched() -> bytes:
    """Download the package with npm, as configured on this computer."""
    npm = shutil.which("npm")
    if npm is None:
        raise RequestError(f"--export needs Python for browsers, {FILE}, and npm is not here; {GET}")
    with tempfile.TemporaryDirectory(prefix="treadle-npm-") as folder:
        try:
            ended = subprocess.run(
                [npm, "pack", "--silent", f"{PACKAGE}@{VERSION}"], cwd=folder, stdin=subprocess.DEVNULL,
                capture_output=True, timeout=_FETCH_MAX_S, check=False,
            )  # fmt: skip
        except subprocess.TimeoutExpired:
            raise RequestError(f"npm did not get {FILE} within {_FETCH_MAX_S:.0f} s; {GET}") from None
        packed = Path(folder) / FILE
        if ended.returncode != 0 or not packed.is_file():
            raise RequestError(f"npm did not get {FILE}, is there a network?; {GET}")
        return packed.read_bytes()


def _opened(data: bytes) -> Runtime:
    with tarfile.open(fileobj=BytesIO(data), mode="r:gz") as packed:

        def content(name: str) -> bytes:
            file = packed.extractfile(f"package/{name}")
            assert file is not None
            return file.read()

        files = {name: content(name) for name in NEEDED}
        lock = {"info": json.loads(content("pyodide-lock.json"))["info"], "packages": {}}
        source = str(json.loads(content("package.json"))["repository"]["url"])
    return Runtime(files, lock, source)
