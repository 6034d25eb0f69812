"""A copy of some source files compiled by mypyc, built on demand, kept outside the source tree.

The source is unchanged; the copy gets type annotations that only the compiler reads (`native_types`).
Compiled modules have no Python source in the copy, so that nobody can run interpreted code from it
by mistake. The copy is named by a hash of all its inputs: another source, Python, mypy or set of options
gives another copy.
"""

import os
import shutil
import sys
import sysconfig
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from hashlib import sha256
from importlib.metadata import version
from importlib.util import find_spec
from pathlib import Path

from host_sim.compiled.cache import cache_folder
from host_sim.compiled.fixed_objects import fixed_fields, with_fixed_fields
from host_sim.compiled.guarded import Guarded
from host_sim.compiled.native_types import annotated, whole_constants

ROOT = Path(__file__).resolve().parents[2]
TOOLS = ("mypyc", "setuptools", "platformdirs")
OPTIMISATION = "3"
# Calls inside the copy are direct, and most are inlined: a step makes some fifty calls of small methods,
# and inlining them saves a quarter. A larger inline-unit-growth than 200 doubles the time to
# compile and gains nothing. No fused multiply-add: it rounds differently from Python.
PARAMS = (
    "max-inline-insns-auto=1000", "inline-unit-growth=200", "large-function-growth=2000",
    "large-function-insns=50000", "large-stack-frame-growth=3000",
)  # fmt: skip
RARE_CALLS = Path(__file__).with_name("rare_calls.h")
C_FLAGS = f"-fvisibility=hidden -fno-semantic-interposition -ffp-contract=off -include {RARE_CALLS.name}"
if os.name != "posix":
    C_FLAGS = ""
elif sys.platform == "linux":
    C_FLAGS += "".join(f" --param {param}" for param in PARAMS)
INTERPRETED = "firmware/link"  # Files and messages: not hot, and not used in a ride.
# Other modules are not type-checked, nor searched for where treadle is installed. Explicit packages: the
# copy has no `__init__.py` where only some files of a package are in it.
MYPY_OPTIONS = (
    "--no-site-packages",
    "--ignore-missing-imports",
    "--namespace-packages",
    "--explicit-package-bases",
)
HOT = (
    "firmware",
    "host_sim/plant",
    "host_sim/units.py",
    "host_sim/bench/board_clock.py",
    "host_sim/bench/clock.py",
    "host_sim/bench/distortion.py",
    "host_sim/bench/drive_faults.py",
    "host_sim/bench/fault_effects.py",
    "host_sim/bench/faults.py",
    "host_sim/bench/meter.py",
    "host_sim/bench/noise.py",
    "host_sim/bench/readings.py",
    "host_sim/bench/ride.py",
    "host_sim/bench/ride_measures.py",
    "host_sim/bench/script.py",
    "host_sim/bench/sim_board.py",
    "host_sim/bench/stretch.py",
    "host_sim/bench/truth.py",
    "host_sim/bench/wheel_faults.py",
    "host_sim/bench/world.py",
    "host_sim/rules/driving_probes.py",
    "host_sim/rules/failing_probes.py",
    "host_sim/rules/probe.py",
    "host_sim/rules/speeding_probes.py",
    "host_sim/rules/stopping_probes.py",
)
"""What runs once a control period or more often: folders and files, from the root."""


class CannotCompile(Exception):
    """There is no compiled copy; the message is one sentence that says why."""


def compiled_copy(parts: tuple[str, ...] = HOT) -> Path:
    """Return the folder that holds the compiled copy of `parts`, building it if necessary: a minute or two.

    `parts` are folders and files from the root. The packages that are whole in it may go on the path as they
    are, all of HOT goes before the sources by `compiled_first`. CannotCompile says in one sentence what is
    missing or went wrong; then use the interpreted files.
    """
    sources = _sources(parts)
    missing = missing_tools()
    if missing:
        raise CannotCompile(f"there is no compiled copy: {missing}")
    folder = _folder_for(sources)
    if folder.is_dir():
        return folder
    cache = folder.parent
    cache.mkdir(parents=True, exist_ok=True)
    with _one_at_a_time(cache), tempfile.TemporaryDirectory(dir=cache) as scratch:
        if folder.is_dir():  # Another process built it in the meantime.
            return folder
        _compile(sources, Path(scratch))
        _keep_binaries(Path(scratch))
        try:
            Path(scratch).rename(folder)
        except OSError:
            if not folder.is_dir():  # Otherwise another process was faster.
                raise
        else:
            Path(scratch).mkdir()  # For the context manager to remove.
    return folder


@contextmanager
def _one_at_a_time(cache: Path) -> Iterator[None]:
    """Let one process build while others wait; where a folder can't be locked, each builds for itself."""
    try:
        import fcntl
    except ImportError:
        yield
        return
    held = os.open(cache, os.O_RDONLY)
    try:
        with suppress(OSError):
            fcntl.flock(held, fcntl.LOCK_EX)
        yield
    finally:
        os.close(held)


def is_built(parts: tuple[str, ...] = HOT) -> bool:
    """Return whether the compiled copy exists already."""
    return not missing_tools() and _folder_for(_sources(parts)).is_dir()


def _folder_for(sources: list[Path]) -> Path:
    return cache_folder() / f"compiled-{_digest(sources, version('mypy'))}"


def _sources(parts: tuple[str, ...]) -> list[Path]:
    """Return the files of `parts`; without the `__init__.py` of a package of which only files are named."""
    sources: list[Path] = []
    for part in parts:
        path = ROOT / part
        sources += sorted(path.rglob("*.py")) if path.is_dir() else [path]
    return sources


def missing_tools() -> str:
    """Return which tool for compiling is missing here, or an empty text."""
    for module in TOOLS:
        if find_spec(module) is None:
            return f"{module} is not installed"
    compiler = (os.environ.get("CC") or sysconfig.get_config_var("CC") or "cc").split()[0]
    return "" if shutil.which(compiler) else f"no C compiler ({compiler}) was found"


def _digest(sources: list[Path], mypy_version: str) -> str:
    how = f"{sys.version} {sysconfig.get_platform()} {mypy_version} {OPTIMISATION} {C_FLAGS}"
    digest = sha256(how.encode())
    for name in ("fixed_objects.py", "native_types.py", RARE_CALLS.name):
        digest.update(Path(__file__).with_name(name).read_bytes())
    for path in sources:
        digest.update(str(path.relative_to(ROOT)).encode() + b"\0" + path.read_bytes() + b"\0")
    return digest.hexdigest()[:16]


def _compile(sources: list[Path], scratch: Path) -> None:
    texts = {path.relative_to(ROOT).as_posix(): path.read_text(encoding="utf-8") for path in sources}
    names = [name for name in texts if not name.startswith(INTERPRETED)]
    whole = whole_constants(texts[name] for name in names)
    fixed = fixed_fields(texts[name] for name in names)
    vectors = find_spec("librt") is not None and find_spec("librt.vecs") is not None
    for name, text in texts.items():
        copy = scratch / name
        copy.parent.mkdir(parents=True, exist_ok=True)
        if name in names:
            text = annotated(with_fixed_fields(text, fixed), whole, vectors)
        copy.write_text(text, encoding="utf-8")
    shutil.copy(RARE_CALLS, scratch)
    environment = {**os.environ, "MYPYC_OPT_LEVEL": OPTIMISATION, "MYPYC_DEBUG_LEVEL": "0", "MYPYPATH": ""}
    environment["CFLAGS"] = f"{os.environ.get('CFLAGS', '')} {C_FLAGS}".strip()
    command = [sys.executable, "-m", "mypyc", *MYPY_OPTIONS, "--cache-dir", str(scratch / "types"), *names]
    log = scratch / "log"
    code = Guarded(command, scratch, environment, log, str(scratch)).wait()
    if code != 0:
        said = log.read_text(encoding="utf-8", errors="replace").strip() or "no message"
        last = said.splitlines()[-1]
        raise CannotCompile(f"there is no compiled copy: mypyc ended with code {code}, {last}")


def _keep_binaries(scratch: Path) -> None:
    """Delete everything except extension modules and files that stay interpreted."""
    suffix = sysconfig.get_config_var("EXT_SUFFIX")
    for name in ("build", "types"):
        shutil.rmtree(scratch / name, ignore_errors=True)
    for path in scratch.rglob("*"):
        kept = path.name.endswith(suffix) or path.is_relative_to(scratch / INTERPRETED)
        if path.is_file() and not kept:
            path.unlink()
