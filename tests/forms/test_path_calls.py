"""Every path that the proofs found is gone down in the other forms, and leaves the same state and result."""

import re
import subprocess
import sys
from pathlib import Path

import pytest

from firmware.decide.engagement import EVENT_NAMES, STATE_NAMES
from tests.forms.building import build, on_chip, replay
from tests.forms.conftest import write_form
from tests.forms.fused_entries import entries_of, write_entries
from tests.forms.fused_forms import HERE, on_micropython
from tests.forms.path_calls import PathCalls
from tests.forms.path_program import encoded, path_program
from tests.micropython_unix import ROOT
from tests.runtime.path_vectors import place_vectors, why_missing

pytestmark = [
    pytest.mark.long,
    pytest.mark.skipif(bool(why_missing()), reason=why_missing()),
    pytest.mark.xdist_group("proof"),
]
SANITIZED = ("-g", "-O1", "-fsanitize=address,undefined", "-fno-sanitize-recover=all")
PARTS = ("path_check.c", "check_host.c")  # The first includes assist.c.
IN_A_ROW, ONE_IN = 100, 100
ON_THIS_PYTHON = """\
import sys
sys.path[:0] = {paths}
import fused_controller, fused_entries, path_replay
print(path_replay.told(path_replay.PathReplay(fused_controller, fused_entries, {calls!r})))
"""


@pytest.fixture(scope="module")
def vector_file(tmp_path_factory) -> Path:
    return place_vectors(tmp_path_factory.mktemp("vectors"))


@pytest.fixture(scope="module")
def paths(program, vector_file) -> PathCalls:
    return PathCalls(program, vector_file)


@pytest.fixture(scope="module")
def path_folder(program, paths, tmp_path_factory) -> Path:
    """The C form, the program that makes the calls, and all calls in a file."""
    folder = write_form(program, tmp_path_factory.mktemp("paths"))
    (folder / "path_check.c").write_text(path_program(program, paths), encoding="utf-8")
    (folder / "calls").write_bytes(encoded(paths.calls))
    return folder


def test_every_vector_makes_calls_and_where_a_lemma_reads_a_table_every_cell_of_it_is_called(
    paths, vector_file
):
    assert paths.vectors == len(vector_file.read_text(encoding="ascii").splitlines())
    assert paths.vectors > 7_000
    assert paths.silent == {"engagement_table"}
    state = paths.places.names.index("controller.engagement.state")
    waiting = paths.places.built[state]
    cells = {
        (dict(call.before).get(state, waiting), *call.arguments)
        for call in paths.calls
        if paths.entries[call.entry].label == "Engagement.step"
    }
    assert cells == {(one, event) for one in range(len(STATE_NAMES)) for event in range(len(EVENT_NAMES))}


def test_fewer_calls_are_still_some_of_every_vector_and_of_every_function(paths):
    few = paths.fewer(IN_A_ROW, ONE_IN)
    assert {call.entry for call in few} == set(range(len(paths.entries)))
    assert paths.vectors < len(few) < len(paths.calls)


def test_c_on_a_desk_is_equal_on_every_path_and_free_of_undefined_behaviour(path_folder, paths):
    done = replay(build(path_folder, *SANITIZED, parts=PARTS), path_folder / "calls")
    assert done.stdout.endswith(f"{len(paths.calls)} vectors, 0 differ\n"), done.stdout + done.stderr


def test_c_on_a_cortex_m_is_equal_on_every_path(path_folder, paths):
    printed = on_chip(path_folder, path_folder / "calls", PARTS[:1])
    assert f"{len(paths.calls)} calls, 0 differ" in printed


def run_here(folder: Path) -> str:
    """Make the calls in a new process, with the decorators of MicroPython stubbed."""
    asked = [str(path) for path in (folder, HERE / "stub", HERE, ROOT)]
    script = ON_THIS_PYTHON.format(paths=asked, calls=str(folder / "calls"))
    done = subprocess.run([sys.executable, "-c", script], capture_output=True, text=True, check=False)
    return done.stdout + done.stderr


def test_the_board_form_is_equal_on_every_path_on_cpython(program, paths, tmp_path):
    write_entries(entries_of(program, paths, wide=False, calls=paths.calls), tmp_path)
    assert run_here(tmp_path) == f"calls {len(paths.calls)} differences 0\n"


def test_the_board_form_is_equal_on_every_path_on_micropython(program, paths, tmp_path):
    few = paths.fewer(IN_A_ROW, ONE_IN)
    write_entries(entries_of(program, paths, wide=True, calls=few), tmp_path)
    printed = on_micropython(tmp_path, ON_THIS_PYTHON.format(paths=[], calls=str(tmp_path / "calls")))
    assert printed == f"calls {len(few)} differences 0"


# What differs is found.


def changed(paths: PathCalls, which: str) -> list:
    """Return a few calls of the guard, of which one says another result or state."""
    calls = [one for one in paths.calls if paths.entries[one.entry].label == "OutputGuard.permit"][:20]
    call = calls[7]
    if which == "result":
        calls[7] = type(call)(call.entry, call.arguments, call.before, call.after, call.result + 1)
    else:
        after = dict(call.after) | {paths.places.names.index("controller.guard._behind"): 9}
        calls[7] = type(call)(
            call.entry, call.arguments, call.before, tuple(sorted(after.items())), call.result
        )
    return calls


@pytest.mark.parametrize("which", ["result", "state"])
def test_a_single_difference_is_found_in_c(path_folder, paths, tmp_path, which):
    (tmp_path / "changed").write_bytes(encoded(changed(paths, which)))
    done = replay(build(path_folder, "-O1", parts=PARTS), tmp_path / "changed")
    assert re.match(r"call 7, function \d+ differs\n", done.stdout)
    assert done.stdout.endswith("20 vectors, 1 differ\n")


@pytest.mark.parametrize("which", ["result", "state"])
def test_a_single_difference_is_found_in_the_board_form(program, paths, tmp_path, which):
    write_entries(entries_of(program, paths, wide=False, calls=changed(paths, which)), tmp_path)
    printed = run_here(tmp_path)
    assert re.match(r"call 8, function \d+ differs\ncalls 20 differences 1\n$", printed)


def test_a_changed_comparison_of_the_guard_is_found_on_the_paths(program, paths, path_folder, tmp_path):
    text = (path_folder / "assist.c").read_text(encoding="utf-8")
    line = "settings->throttle_open_mv <= throttle_mv"
    assert text.count(line) == 1
    folder = write_form(program, tmp_path)
    (folder / "assist.c").write_text(text.replace(line, line.replace("<=", ">")), encoding="utf-8")
    (folder / "path_check.c").write_text(path_program(program, paths), encoding="utf-8")
    done = replay(build(folder, "-O1", parts=PARTS), path_folder / "calls")
    assert done.returncode == 1
