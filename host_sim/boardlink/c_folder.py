"""The folder of `treadle bundle --form c`: the C form, its check, vectors, and how to call it."""

import io
import json
import tempfile
from pathlib import Path
from typing import Any

from host_sim.bench.course import load_course
from host_sim.bikes.model import Bike
from host_sim.boardlink.manifest import HEADING, MANIFEST, program_version, sha256
from host_sim.forms.c.check_source import TEMPLATES, check_source
from host_sim.forms.c.form import CForm, c_form
from host_sim.forms.golden import GoldenTrace
from host_sim.forms.golden_ride import GoldenRide
from host_sim.forms.lives import write_lives
from host_sim.forms.model import Program
from host_sim.forms.program import read_firmware
from host_sim.forms.vectors import RideVectors, VectorWriter

RANDOM_STEPS = 10_000
SEED = 1
COURSES = {"errand": 120, "broken_sensor": None}
"""The courses that are ridden for the vectors, and how many seconds of each; None is all of it."""
WRAP_AFTER_S = 40
PLAIN = ("check.h", "check_host.c", "Makefile")


class CFolder:
    """The contents of the folder. Read: `files` by name, `manifest`, `vectors` (their number)."""

    def __init__(self, bike: Bike) -> None:
        """Translate the firmware, and ride the vectors of a bike; takes some seconds."""
        program = read_firmware()
        form = c_form(program)
        self.vectors = 0
        files = {name: (TEMPLATES / name).read_bytes() for name in PLAIN}
        files["assist.h"] = form.header.encode()
        files["assist.c"] = form.source.encode()
        files["check.c"] = check_source(program).encode()
        files["bike_settings.h"] = bike_settings(bike).encode()
        files["vectors/random.vectors"] = self._random(program)
        for course, seconds in COURSES.items():
            files[f"vectors/{course}.vectors"] = self._ride(program, bike, course, seconds)
        files["README.md"] = readme(program, form, bike, self.vectors).encode()
        self.manifest = _manifest(bike, files)
        files[MANIFEST] = json.dumps(self.manifest, indent=1, allow_nan=False).encode("ascii") + b"\n"
        self.files = dict(sorted(files.items()))

    def _random(self, program: Program) -> bytes:
        content = io.BytesIO()
        writer = VectorWriter(program, content)
        write_lives(writer, RANDOM_STEPS, SEED)
        return self._ended(writer, content)

    def _ride(self, program: Program, bike: Bike, course: str, seconds: int | None) -> bytes:
        content = io.BytesIO()
        writer = VectorWriter(program, content)
        ride = GoldenRide(course, bike, load_course(course), WRAP_AFTER_S, seconds=seconds)
        with tempfile.TemporaryDirectory() as folder:
            trace = GoldenTrace(ride, Path(folder, course))
            with trace.path.open("rb") as file:
                RideVectors(file, writer).run()
        return self._ended(writer, content)

    def _ended(self, writer: VectorWriter, content: io.BytesIO) -> bytes:
        self.vectors += writer.records
        writer.end()
        return content.getvalue()


def bike_settings(bike: Bike) -> str:
    """Return the settings of a bike as C."""
    rows = [f"    .{name} = {value}," for name, value in bike.firmware_settings.as_dict().items()]
    head = [
        f"/* The settings of {_plain(bike.title)}, place profile {_plain(bike.place)}. */",
        "#ifndef BIKE_SETTINGS_H",
        "#define BIKE_SETTINGS_H",
        "",
        '#include "assist.h"',
        "",
        "static const Settings BIKE_SETTINGS = {",
    ]
    return "\n".join([*head, *rows, "};", "", "#endif"]) + "\n"


def readme(program: Program, form: CForm, bike: Bike, vectors: int) -> str:
    """Return the README of the folder."""
    text = (TEMPLATES / "README.md").read_text(encoding="utf-8")
    parts = {
        "TITLE": _plain(bike.title),
        "PLACE": _plain(bike.place),
        "VECTORS": str(vectors),
        "NAMES": "\n".join(_names(program)),
        "REFUSALS": "\n".join(["| number | what must hold |", "|---|---|", *_rows(form.refusals)]),
    }
    for name, part in parts.items():
        text = text.replace(f"@{name}@", part)
    return text


def _names(program: Program) -> list[str]:
    """Return a table for every constant that gives names to numbers."""
    lines: list[str] = []
    for module in program.modules.values():
        for constant in module.constants.values():
            found = constant.type
            if (found.kind, found.name, len(found.dims)) == ("table", "text", 1):
                assert isinstance(constant.value, tuple)
                names = [(at, str(text)) for at, text in enumerate(constant.value)]
                lines += [f"| number | {constant.name} |", "|---|---|", *_rows(names), ""]
    return lines[:-1]


def _rows(pairs: list[tuple[int, str]]) -> list[str]:
    return [f"| {number} | {text} |" for number, text in pairs]


def _plain(text: str) -> str:
    """Return a text from a bike file so that it can't end a comment or begin something else."""
    return " ".join(text.replace("*/", "* /").replace("/*", "/ *").split())


def _manifest(bike: Bike, files: dict[str, bytes]) -> dict[str, Any]:
    return {
        "heading": HEADING,
        "treadle": program_version(),
        "form": "c",
        "bike": bike.name,
        "place": bike.place,
        "rules": None,
        "settings": bike.firmware_settings.as_dict(),
        "files": [
            {"file": name, "size_bytes": len(content), "sha256": sha256(content)}
            for name, content in sorted(files.items())
        ],
    }
