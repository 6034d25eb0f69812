"""Measures a form of the firmware on the emulated Pico.

    TREADLE_PICO_IMAGE=… TREADLE_PICO_BOOTROM=… uv run python -m tests.emulated.measured

prints the table that README.md shows.
"""

import re
import sys
import tempfile
from dataclasses import dataclass
from pathlib import Path

from host_sim.bikes.load import load_bike
from host_sim.boardlink.bundle import bundle_for
from host_sim.boardlink.bytecode import compiled
from host_sim.boardlink.targets import target_named
from host_sim.forms.viper.firmware import fused_firmware
from tests.emulated import courses
from tests.emulated.pico import HERE, Heard, emulate, why_missing

FORMS = ("bytecode", "native", "fused")
# Put into main.py: tells what is free after a collection, which the loop does after 400 steps at rest.
FREE_TOLD = b"""
import gc
from boards.services import Collector
def collect(self):
    gc.collect()
    print("free", gc.mem_free(), "bytes")
Collector.collect = collect
"""
_BEFORE = b"board = PicoBoard()"


def files_of(form: str) -> dict[str, bytes]:
    """Return the files of the cargo trike's bundle."""
    return dict(bundle_for(target_named("rpi_pico"), load_bike("cargo_trike"), form).files)


@dataclass(frozen=True, slots=True)
class StepTimes:
    """Microseconds of steps by part: median without edges, with edges, longest. And the digest."""

    parts: dict[str, tuple[int, int, int]]
    digest: int


def step_times(form: str, folder: Path) -> StepTimes:
    """Time the controller's step alone."""
    files = files_of(form) | {"main.py": (HERE / "step_times.py").read_bytes()}
    heard = emulate(files, folder, stop_at="done")
    parts, digest = {}, -1
    for words in (line.split() for line in heard.text.split("\n")):
        if words[:1] == ["steps"]:
            parts[words[1]] = (int(words[2]), int(words[3]), int(words[4]))
        elif words[:1] == ["digest"]:
            digest = int(words[1])
    return StepTimes(parts, digest)


@dataclass(frozen=True, slots=True)
class RideTimes:
    """The whole board on a ride. Times in ms; `loops_ms` are all loops with a step while driving, sorted."""

    form: str
    first_step_s: float
    steps_a_second: float
    loops_ms: list[float]
    overruns: int
    frames_a_second: float
    brake_ms: float
    free_kb: float


def ride_times(form: str, folder: Path) -> RideTimes:
    """Ride the course with stops and a brake."""
    heard = emulate(files_of(form), folder, courses.RIDE, milliseconds=6_600)
    frames = heard.frames
    driving = [frame for frame in frames if frame.drive_enabled]
    first, last = driving[0], driving[-1]
    seconds = (last.time_us - first.time_us) / 1e6
    return RideTimes(
        form=frames[-1].form,
        first_step_s=heard.first("lamp", 1) / 1e6,
        steps_a_second=(last.steps - first.steps) / seconds,
        loops_ms=driven_loops_ms(heard),
        overruns=frames[-1].overruns,
        frames_a_second=(last.number - first.number) % 256 / seconds,
        brake_ms=max(brakes_ms(form, folder)),
        free_kb=free_kb(form, folder),
    )


def brakes_ms(form: str, folder: Path) -> list[float]:
    """Return how long after each of the course's brakes the motor was no longer enabled."""
    heard = emulate(files_of(form), folder, courses.BRAKES, milliseconds=13_000)
    enabled = [(time, value) for time, what, value in heard.events if what == "enable"]
    braked = [at for at in courses.BRAKES_US if [value for time, value in enabled if time < at][-1:] == [1]]
    assert len(braked) > len(courses.BRAKES_US) // 2  # The motor drove.
    return [(heard.first("enable", 0, at) - at) / 1000 for at in braked]


def driven_loops_ms(heard: Heard) -> list[float]:
    """Return how long loops took from the first time that the motor was enabled to the last, sorted."""
    enabled = [time for time, what, value in heard.events if (what, value) == ("enable", 1)]
    disabled = [time for time, what, value in heard.events if (what, value) == ("enable", 0)]
    return sorted(took / 1000 for time, took in heard.loops if enabled[0] <= time < disabled[-1])


def free_kb(form: str, folder: Path) -> float:
    """Return how much memory is free while the board rides, after a collection."""
    files = files_of(form)
    assert _BEFORE in files["main.py"]
    files["main.py"] = files["main.py"].replace(_BEFORE, FREE_TOLD + _BEFORE)
    heard = emulate(files, folder, milliseconds=9_000, stop_at="bytes")
    return int(re.findall(r"free (\d+)", heard.text)[0]) / 1024


def side_by_side(lives: int, seed: int, folder: Path) -> str:
    """Ride the interpreted and the fused controller together on the chip; return the line of totals."""
    fused = fused_firmware()
    forms = HERE.parent / "forms"
    sources = {
        "fused_controller.py": fused.source.encode(),
        "fused_places.py": f"PLACES = {tuple(fused.cells.items())}\n".encode(),
        "lives.py": (forms / "lives.py").read_bytes(),
    }
    start = (
        "import gc\ngc.threshold(16384)\nimport fused_controller, fused_places, lives\n"
        f"ride = lives.SideBySide(fused_controller.Controller, fused_places.PLACES, {lives}, {seed})\n"
        'print("totals", lives.told(ride), "end")\n'
    )
    files = files_of("bytecode") | compiled(sources, "armv6m") | {"main.py": start.encode()}
    text = emulate(files, folder, milliseconds=120_000, stop_at="end").text
    found = re.search(r"totals (.*) end", text)
    return found.group(1) if found else text


def overruns_on(form: str, edges: courses.Edges, folder: Path) -> tuple[int, int, float]:
    """Return overruns and lost edges in the last frame, and the longest loop in ms since the first edge."""
    heard: Heard = emulate(files_of(form), folder, edges, milliseconds=4_200)
    frames = [frame for frame in heard.frames if frame.edges > 0]
    return frames[-1].overruns, frames[-1].edges_lost, max(frame.worst_us for frame in frames) / 1000


def table(folder: Path) -> list[str]:
    """Return the rows of README's table."""
    rows = [
        "| form | driving step: no edge / edge / longest | loop: median / longest | steps, frames a second | "
        "brake to enable low | reset to first step | RAM free |",
        "|---|---|---|---|---|---|---|",
    ]
    for form in FORMS:
        quiet, busy, longest = (time / 1000 for time in step_times(form, folder).parts["driving"])
        ride = ride_times(form, folder)
        loop_ms, longest_ms = ride.loops_ms[len(ride.loops_ms) // 2], ride.loops_ms[-1]
        rows.append(
            f"| {form} | {quiet:.2f} / {busy:.2f} / {longest:.2f} ms | {loop_ms:.2f} / {longest_ms:.2f} ms | "
            f"{ride.steps_a_second:.0f}, {ride.frames_a_second:.1f} | {ride.brake_ms:.1f} ms | "
            f"{ride.first_step_s:.2f} s | {ride.free_kb:.0f} KB |"
        )
    return rows


def main() -> None:
    """Print the table."""
    if why_missing():
        raise SystemExit(why_missing())
    with tempfile.TemporaryDirectory() as folder:
        sys.stdout.write("\n".join(table(Path(folder))) + "\n")


if __name__ == "__main__":
    main()
