"""Times the C form on the emulated RP2040: vectors of a ride replayed, the cycles of each step counted."""

import json
import subprocess
from dataclasses import dataclass
from pathlib import Path
from statistics import median
from typing import Any

from firmware.controller import Controller
from firmware.records import Inputs, Outputs
from host_sim.forms.program import read_firmware
from host_sim.forms.replay import kind_of_step
from host_sim.forms.vectors import RideVectors, VectorWriter
from tests.emulated.pico import CYCLES_A_MISS, HERE, emulator_folder
from tests.forms.building import CHIP
from tests.forms.conftest import write_form
from tests.golden_rides import golden_rides, record_all

RIDE = "cargo_trike-brown_out"
STEPS = 4_000
CYCLES_PER_US = 125
VECTORS_AT = 0x10040000
COMPILER = "arm-none-eabi-gcc"


@dataclass(frozen=True, slots=True)
class CTimes:
    """What came out: microseconds of driving steps and of all steps, and what the check program printed.

    `digest` is that of this Python, over outputs and state of all steps.
    """

    driving_us: list[float]
    all_us: list[float]
    said: str
    vectors: int
    digest: int

    @property
    def driving_median_us(self) -> float:
        """The median of the steps that drive."""
        return median(self.driving_us)


class _Enough(Exception):
    """All required steps have been written."""


class _Begin(RideVectors):
    """The first steps of a ride. Read: `driven`, for each step whether it drove."""

    def __init__(self, *args: object) -> None:
        super().__init__(*args)  # type: ignore[arg-type]
        self.driven: list[bool] = []

    def step(self, controller: Controller, inputs: Inputs, now_us: int) -> Outputs:
        if len(self.driven) == STEPS:
            raise _Enough
        outputs = super().step(controller, inputs, now_us)
        self.driven.append(kind_of_step(controller) == "d")
        return outputs


def c_times(folder: Path) -> CTimes:
    """Build the C form with `-Os` for a Cortex-M0+ and run it; `folder` takes what is written on the way."""
    program = read_firmware()
    write_form(program, folder)
    (trace,) = record_all([ride for ride in golden_rides() if ride.name == RIDE], folder)
    with trace.path.open("rb") as source, (folder / "ride.vectors").open("wb") as target:
        writer = VectorWriter(program, target)
        begin = _Begin(source, writer)
        try:
            begin.run()
        except _Enough:
            writer.end()
    out = _run(folder, _built(folder))
    took_us = [cycles / CYCLES_PER_US for cycles in out["cycles"]]
    driving_us = [took for took, driven in zip(took_us, begin.driven, strict=True) if driven]
    return CTimes(driving_us, took_us, out["said"], writer.records - 1, writer.digest)


def _built(folder: Path) -> dict[str, int]:
    """Build the program; return its symbols."""
    parts = ["assist.c", "check.c", str(HERE / "c_on_a_pico.c")]
    link = ["-nostartfiles", f"-T{HERE / 'c_on_a_pico.ld'}", "-Wl,--gc-sections", "-lgcc"]
    options = ["-std=gnu99", "-Os", "-DASSIST_OWN_DIVISION", *CHIP, "-I."]
    command = [COMPILER, *options, *parts, "-o", "pico.elf", *link]
    subprocess.run(command, cwd=folder, check=True)
    subprocess.run(["arm-none-eabi-objcopy", "-Obinary", "pico.elf", "pico.bin"], cwd=folder, check=True)
    listed = subprocess.run(
        ["arm-none-eabi-nm", "pico.elf"], cwd=folder, check=True, capture_output=True, text=True
    )
    return {words[2]: int(words[0], 16) for words in map(str.split, listed.stdout.splitlines())}


def _run(folder: Path, symbols: dict[str, int]) -> dict[str, Any]:
    job = {
        "program": str(folder / "pico.bin"),
        "vectors": str(folder / "ride.vectors"),
        "vectors_at": VECTORS_AT,
        "start": symbols["reset"],
        "stack": symbols["stack_top"],
        "timed": symbols["Controller_step"],
        "end": symbols["finished"],
        "said": symbols["said"],
        "miss": CYCLES_A_MISS,
        "out": str(folder / "out.json"),
    }
    (folder / "job.json").write_text(json.dumps(job))
    here = emulator_folder("emulate_c.mjs")
    subprocess.run(["node", "emulate_c.mjs", str(folder / "job.json")], cwd=here, check=True)
    found: dict[str, object] = json.loads((folder / "out.json").read_text())
    return found
