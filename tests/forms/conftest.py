"""The C form and its vectors are made once for the tests of this folder."""

from dataclasses import dataclass
from pathlib import Path

import pytest

from host_sim.boardlink.c_folder import PLAIN
from host_sim.forms.c.check_source import TEMPLATES, check_source
from host_sim.forms.c.form import c_form
from host_sim.forms.lives import write_lives
from host_sim.forms.model import Program
from host_sim.forms.program import read_firmware
from host_sim.forms.vectors import RideVectors, VectorWriter
from tests.golden_rides import golden_rides, record_all


@dataclass(slots=True)
class Written:
    """A file of vectors and what it holds."""

    path: Path
    records: int
    steps: int
    driving: int
    digest: int


@pytest.fixture(scope="session")
def program() -> Program:
    return read_firmware()


def write_form(program: Program, folder: Path) -> Path:
    """Write the C form and the program that checks it into a folder."""
    form = c_form(program)
    (folder / "assist.h").write_text(form.header, encoding="utf-8")
    (folder / "assist.c").write_text(form.source, encoding="utf-8")
    (folder / "check.c").write_text(check_source(program), encoding="utf-8")
    for name in PLAIN:
        (folder / name).write_bytes((TEMPLATES / name).read_bytes())
    return folder


@pytest.fixture
def form_folder(program, tmp_path) -> Path:
    return write_form(program, tmp_path)


def written(program: Program, path: Path, fill) -> Written:
    with path.open("wb") as file:
        writer = VectorWriter(program, file)
        fill(writer)
        writer.end()
    return Written(path, writer.records - 1, writer.steps, writer.driving, writer.digest)


@pytest.fixture(scope="session")
def random_vectors(program, tmp_path_factory) -> Written:
    """100,000 random steps over random legal settings, and questions about settings."""
    path = tmp_path_factory.mktemp("random") / "random.vectors"
    return written(program, path, lambda writer: write_lives(writer, 100_000, seed=1))


@pytest.fixture(scope="session")
def ride_vectors(program, tmp_path_factory) -> list[Written]:
    """Every golden ride."""
    folder = tmp_path_factory.mktemp("rides")
    found = []
    for trace in record_all(golden_rides(), folder):
        with trace.path.open("rb") as file:
            path = folder / f"{trace.path.name}.vectors"
            found.append(written(program, path, lambda writer, file=file: RideVectors(file, writer).run()))
    return found
