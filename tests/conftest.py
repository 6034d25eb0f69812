"""What Hypothesis tries: the same each time by default, `--hypothesis-profile=deep` to search. The proof."""

import atexit
import os
import shutil
import signal
import sys
import tempfile

import pytest
from hypothesis import HealthCheck, settings
from hypothesis.internal.conjecture import providers

# A shell that runs the tests in the background lets them ignore interrupts, which some of them are about.
signal.signal(signal.SIGINT, signal.default_int_handler)

# The tests start hundreds of programs. Where Python is told to write no bytecode, each of them would compile
# all that it imports: keep the bytecode outside the clone, until the run ends.
if sys.dont_write_bytecode:
    _bytecode = tempfile.mkdtemp(prefix="treadle-bytecode-")
    atexit.register(shutil.rmtree, _bytecode, ignore_errors=True)
    os.environ.pop("PYTHONDONTWRITEBYTECODE", None)
    os.environ["PYTHONPYCACHEPREFIX"] = sys.pycache_prefix = _bytecode
    sys.dont_write_bytecode = False

# Ignore the user's terminal preferences, in the tests and in the programs that they start.
for _name in ("COLUMNS", "LINES", "COLORTERM", "NO_COLOR", "FORCE_COLOR", "CLICOLOR", "CLICOLOR_FORCE"):
    os.environ.pop(_name, None)
for _name in ("TTY_COMPATIBLE", "TTY_INTERACTIVE", "GITHUB_ACTIONS", "PY_COLORS", "PYTHONIOENCODING"):
    os.environ.pop(_name, None)

_SLOW_IS_FINE = (HealthCheck.too_slow, HealthCheck.data_too_large)

# The same examples in every run, and none remembered from the one before: whether a change passes must not be
# a matter of luck, nor of the clone it is tried in. What luck finds, found by "deep", stays as an @example.
settings.register_profile(
    "modest",
    max_examples=40,
    deadline=None,
    derandomize=True,
    database=None,
    print_blob=True,
    suppress_health_check=_SLOW_IS_FINE,
)
settings.register_profile(
    "deep",
    max_examples=1000,
    deadline=None,
    derandomize=False,
    print_blob=True,
    suppress_health_check=_SLOW_IS_FINE,
)
settings.load_profile("modest")


def pytest_sessionstart():
    """Keep what is tried from depending on what ran before.

    Hypothesis also tries numbers from the modules loaded so far, which differ from worker to worker.
    """
    if settings.default.derandomize and hasattr(providers, "_get_local_constants"):
        at_first = providers._local_constants
        providers._get_local_constants = lambda: at_first


# What proves, and what needs the proof's path vectors: on one core, so that the proof runs once.
PROOF_FILES = (
    "test_proved.py", "test_path_vectors.py", "test_path_calls.py", "test_results_table.py",
    "test_same_everywhere.py", "test_cost.py",
)  # fmt: skip
# What rides compiled: on one core, so that the copy is compiled once.
COMPILED_FILES = (
    "test_campaign.py", "test_compiled_copy.py", "test_compiled_rides.py", "test_compiled_verdicts.py",
    "test_false_alarms.py", "test_sabotage.py", "test_whole_recordings.py",
)  # fmt: skip

# What takes minutes in one test: begun at the end, it would keep one core waiting for the other.
FIRST_FILES = ("test_readme.py", "test_tutorial.py")


@pytest.hookimpl(tryfirst=True)
def pytest_collection_modifyitems(items):
    """Keep the tests of a file on one core, they share what is slow to set up; begin with the longest."""
    items.sort(key=lambda item: item.path.name not in FIRST_FILES)
    together = {**dict.fromkeys(PROOF_FILES, "proof"), **dict.fromkeys(COMPILED_FILES, "compiled")}
    for item in items:
        item.add_marker(pytest.mark.xdist_group(together.get(item.path.name, str(item.path))))


@pytest.fixture
def here(tmp_path, monkeypatch):
    """Work in an empty folder."""
    folder = tmp_path / "here"
    folder.mkdir()
    monkeypatch.chdir(folder)
    return folder


@pytest.fixture
def treadle(here, monkeypatch, capsys):
    """Run the program in this process; return exit code, standard output and standard error."""
    from host_sim import cli

    def run(*arguments: str) -> tuple[int, str, str]:
        monkeypatch.setattr(sys, "argv", ["treadle", *arguments])
        with pytest.raises(SystemExit) as ending:
            cli.main()
        captured = capsys.readouterr()
        return ending.value.code, captured.out, captured.err

    return run


@pytest.fixture(scope="session")
def proved():
    """Explore all paths, once a run; what comes of it is kept for the tests of the runtimes."""
    from host_sim.proof.prover import PROVED
    from tests.proving import explore_all
    from tests.runtime.path_vectors import keep_vectors

    lemmas = explore_all()
    if all(lemma.verdict == PROVED for lemma in lemmas.values()):
        keep_vectors(lemmas)
    return lemmas
