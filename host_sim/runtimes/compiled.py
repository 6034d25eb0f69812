"""A copy of some packages compiled by mypyc as they are, built on demand, kept outside the source tree.

What is compiled has no Python source in the copy, so whoever finds it first on the path can't run interpreted
code by mistake. The copy is named for a hash
of everything it is made of; another source, Python or mypy gives another copy.
"""

import os
import shutil
import subprocess
import sys
import sysconfig
import tempfile
from hashlib import sha256
from importlib.metadata import version
from importlib.util import find_spec
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
CACHE_VARIABLE = "TREADLE_CACHE"
TOOLS = ("mypyc", "setuptools", "platformdirs")
OPTIMISATION = "3"
INTERPRETED = "firmware/link"  # Files and messages: nothing hot, and none of it in a ride.


class CannotCompile(Exception):
    """There is no compiled copy; the message is one sentence that says why."""


def compiled_copy(packages: tuple[str, ...] = ("firmware",)) -> Path:
    """Return the folder to put on the path for compiled `packages`, building it if need be.

    CannotCompile says in one sentence what is missing or went wrong; the interpreted packages then do.
    """
    sources = [path for package in packages for path in sorted((ROOT / package).rglob("*.py"))]
    missing = missing_tools()
    if missing:
        raise CannotCompile(f"there is no compiled copy: {missing}")
    cache = _cache()
    folder = cache / f"compiled-{_digest(sources, version('mypy'))}"
    if folder.is_dir():
        return folder
    cache.mkdir(parents=True, exist_ok=True)
    with tempfile.TemporaryDirectory(dir=cache) as workshop:
        _compile(sources, Path(workshop))
        _keep_binaries(Path(workshop))
        try:
            Path(workshop).rename(folder)
        except OSError:
            if not folder.is_dir():  # Else somebody else was faster.
                raise
        else:
            Path(workshop).mkdir()  # For the context manager to remove.
    return folder


def missing_tools() -> str:
    """Return which tool for compiling is missing here, or an empty text."""
    for module in TOOLS:
        if find_spec(module) is None:
            return f"{module} is not installed"
    compiler = (os.environ.get("CC") or sysconfig.get_config_var("CC") or "cc").split()[0]
    return "" if shutil.which(compiler) else f"no C compiler ({compiler}) was found"


def _cache() -> Path:
    from platformdirs import user_cache_path

    named = os.environ.get(CACHE_VARIABLE)
    return Path(named) if named else user_cache_path("treadle")


def _digest(sources: list[Path], mypy_version: str) -> str:
    digest = sha256(f"{sys.version} {sysconfig.get_platform()} {mypy_version} {OPTIMISATION}".encode())
    for path in sources:
        digest.update(str(path.relative_to(ROOT)).encode() + b"\0" + path.read_bytes() + b"\0")
    return digest.hexdigest()[:16]


def _compile(sources: list[Path], workshop: Path) -> None:
    for path in sources:
        copy = workshop / path.relative_to(ROOT)
        copy.parent.mkdir(parents=True, exist_ok=True)
        shutil.copyfile(path, copy)
    names = [path.relative_to(ROOT).as_posix() for path in sources]
    names = [name for name in names if not name.startswith(INTERPRETED)]
    environment = {**os.environ, "MYPYC_OPT_LEVEL": OPTIMISATION, "MYPYC_DEBUG_LEVEL": "0", "MYPYPATH": ""}
    done = subprocess.run(
        [sys.executable, "-m", "mypyc", "--cache-dir", str(workshop / "types"), *names],
        cwd=workshop,
        env=environment,
        capture_output=True,
        text=True,
        check=False,
    )
    if done.returncode != 0:
        last = (done.stderr.strip() or done.stdout.strip() or "no message").splitlines()[-1]
        raise CannotCompile(f"there is no compiled copy: mypyc ended with code {done.returncode}, {last}")


def _keep_binaries(workshop: Path) -> None:
    """Throw everything away that is no extension module, beside what stays interpreted."""
    suffix = sysconfig.get_config_var("EXT_SUFFIX")
    for name in ("build", "types"):
        shutil.rmtree(workshop / name, ignore_errors=True)
    for path in workshop.rglob("*"):
        kept = path.name.endswith(suffix) or path.is_relative_to(workshop / INTERPRETED)
        if path.is_file() and not kept:
            path.unlink()
