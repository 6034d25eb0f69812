"""A translator with a mistake is caught by the vectors, or by the compiler. And so is a changed text."""

import subprocess
from pathlib import Path

import pytest

from host_sim.forms.c import helpers
from host_sim.forms.c.check_source import check_source
from host_sim.forms.c.form import c_form
from host_sim.forms.lives import write_lives
from host_sim.forms.program import read_firmware
from tests.forms.building import PARTS, compiled, need, replay
from tests.forms.conftest import Written, written
from tests.forms.planted import ERRORS

pytestmark = [pytest.mark.slow, pytest.mark.xdist_group("C form")]


@pytest.fixture(scope="module")
def some_vectors(program, tmp_path_factory) -> Written:
    path = tmp_path_factory.mktemp("some") / "some.vectors"
    return written(program, path, lambda writer: write_lives(writer, 30_000, seed=2))


@pytest.mark.parametrize("error", ERRORS)
def test_a_planted_error_is_caught(tmp_path, some_vectors, monkeypatch, error):
    ERRORS[error](monkeypatch)
    program = read_firmware()
    form = c_form(program)
    monkeypatch.undo()
    assert caught(form.header, form.source, tmp_path, some_vectors), error


def test_without_an_error_nothing_is_caught(tmp_path, some_vectors, program):
    form = c_form(program)
    assert not caught(form.header, form.source, tmp_path, some_vectors)


def caught(header_text: str, source_text: str, folder: Path, vectors: Written) -> bool:
    """Build what was translated and replay; a compiler that refuses has caught it too."""
    templates = Path(helpers.__file__).with_name("templates")
    program = read_firmware()
    (folder / "assist.h").write_text(header_text, encoding="utf-8")
    (folder / "assist.c").write_text(source_text, encoding="utf-8")
    (folder / "check.c").write_text(check_source(program), encoding="utf-8")
    for name in ("check.h", "check_host.c"):
        (folder / name).write_bytes((templates / name).read_bytes())
    done = compiled(
        [need("gcc"), "-std=c99", "-Werror", "-DASSIST_CHECKED", *PARTS, "-o", "check_assist"], folder
    )
    if done.returncode != 0:
        assert "error:" in done.stderr
        return True
    try:
        return replay(folder / "check_assist", vectors.path, patience_s=20).returncode != 0
    except subprocess.TimeoutExpired:
        return True  # It takes a second; one that never ends is not equal.
