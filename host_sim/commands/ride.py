"""`treadle ride`: ride one bike through one ride, and say what came of it."""

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

from host_sim.bench.assemble import bench_for, bicycle_of
from host_sim.bench.course import load_course
from host_sim.bench.meter import J_PER_WH, Meter
from host_sim.bench.named_controller import named_controller
from host_sim.bench.recording import Road, read_recording
from host_sim.bench.ride import Bench
from host_sim.bench.script import CourseScript, RecordingScript, Script
from host_sim.bench.sim_board import StepWatch
from host_sim.bench.world import EdgeWatch
from host_sim.bikes.load import load_bike
from host_sim.bikes.model import Bike
from host_sim.capture.writers import CaptureWriter, refuse_suffix
from host_sim.errors import RequestError
from host_sim.outputs import Delivery, fresh_folder, refuse_missing_folder
from host_sim.report.ride_and_draw import ride_and_draw
from host_sim.textfile import spoken

DEFAULT_RECORDING = "road_ride_a"
HIDDEN = "states are read from them, and what it senses, wants and allows is 0 in trace and picture"
FILES = ("trace.csv", "edges.csv", "ride.png")


class RideRequest:
    """What is to be ridden: bike, recording or course, how long, with which seed, into which folder.

    `capture` is a file for the crank edges, beside the files in the folder; None writes none.
    """

    def __init__(
        self,
        bike: str,
        recording: str | None = None,
        course: str | None = None,
        seconds: float | None = None,
        seed: int = 1,
        out: Path | None = None,
        force: bool = False,
        capture: Path | None = None,
        controller: str | None = None,
    ) -> None:
        """Check and load everything; RequestError says what is wrong, before anything is ridden."""
        if recording is not None and course is not None:
            raise RequestError("--recording and --course are both given, allowed is one of them")
        self.bike: Bike = load_bike(bike)
        self.notes: list[str] = []
        self.hides = ""
        self.estimated: list[str] = []
        self.script: Script
        if course is not None:
            self.script = CourseScript(load_course(course))
        else:
            road = Road(bicycle_of(self.bike), self.bike.bicycle.brake_deceleration_m_per_s2)
            loaded = read_recording(recording or DEFAULT_RECORDING, road)
            self.estimated = loaded.estimated
            self.script = RecordingScript(loaded)
            changed = {name: count for name, count in loaded.corrections.as_dict().items() if count}
            self.notes = [f"{name.replace('_', ' ')} {count}" for name, count in changed.items()]
        if seconds is not None and not 1 <= seconds <= self.script.seconds:
            raise RequestError(
                f"--seconds is {seconds:g}, allowed is 1 to {self.script.seconds:g} (s), as long as the ride"
            )
        self.build = named_controller(controller, self.bike.firmware_settings)
        if self.build is not None and not self.build.shows_all:
            self.hides = f"{controller} shows its outputs only: {HIDDEN}"
        self.seconds = self.script.seconds if seconds is None else seconds
        self.seed = seed
        self.out = out or fresh_folder("treadle-ride")
        self.force = force
        self.capture = capture
        self._check_capture()

    def _check_capture(self) -> None:
        if self.capture is None:
            return
        refuse_suffix(self.capture, "--capture")
        if self.capture.parent.absolute() != self.out.absolute():  # The ride itself makes that one.
            refuse_missing_folder(self.capture, "--capture")
        if self.capture.absolute() in [(self.out / name).absolute() for name in FILES]:
            raise RequestError(
                f"--capture is {spoken(self.capture)}, which the ride itself writes, allowed is another"
            )


class RideResult:
    """What came of it: `as_json` with the keys that the manual names, and the notes for people."""

    def __init__(self, request: RideRequest, bench: Bench, wall_s: float, files: list[Path]) -> None:
        """Gather the numbers of a bench that has been ridden."""
        meter: Meter = bench.meter
        self.meter = meter
        self.notes = request.notes
        self.hides = request.hides
        self.estimated = request.estimated
        self.as_json: dict[str, Any] = {
            "bike": request.bike.name,
            "ride": request.script.name,
            "seed": request.seed,
            "simulated_s": request.seconds,
            "wall_s": round(wall_s, 3),
            "distance_m": round(bench.world.bicycle.distance_m, 1),
            "rider_wh": round(bench.world.rider_j / J_PER_WH, 2),
            "assist_wh": round(bench.world.assist_j / J_PER_WH, 2),
            "engagements": meter.engagements,
            "first_assist_s": None if meter.first_assist_s is None else round(meter.first_assist_s, 3),
            "longest_run_on_s": round(meter.longest_run_on_s, 3),
            "longest_cutoff_distance_m": round(meter.longest_cutoff_distance_m, 3),
            "max_command_mv": meter.max_command_mv,
            "faults": meter.faults,
            "files": [str(path) for path in files],
        }
        if request.estimated:
            self.as_json["estimated"] = request.estimated


def ride(request: RideRequest, progress: StepWatch | None = None) -> RideResult:
    """Ride, write the trace, the edges and the figure, and return the numbers."""
    bench = bench_for(request.bike, request.seed, build=request.build)
    if progress is not None:
        bench.watch(progress)
    with Delivery(request.out, FILES, request.force) as delivery, _capturing(request, bench) as capture:
        trace, picture = delivery.place("trace.csv"), delivery.place("ride.png")
        window, wall_s = ride_and_draw(
            bench, request.bike, request.script, request.seconds, request.script.title, trace, picture
        )
        window.write(delivery.place("edges.csv"))
        return RideResult(request, bench, wall_s, delivery.deliver() + capture())


class _CaptureWatch(EdgeWatch):
    """Hands the ride's crank edges to a capture."""

    def __init__(self, writer: CaptureWriter) -> None:
        self._writer = writer

    def edge(self, time_us: int, levels: int) -> None:
        self._writer.edge(time_us, levels)


@contextmanager
def _capturing(request: RideRequest, bench: Bench) -> Iterator[Callable[[], list[Path]]]:
    """Write the crank edges while the block rides, if asked; give a function that delivers the file."""
    path = request.capture
    if path is None:
        yield list
        return
    with (
        Delivery(path.parent, (path.name,), request.force, "--capture") as delivery,
        delivery.place(path.name).open("w", encoding="utf-8", newline="\n") as file,
    ):
        writer = CaptureWriter(file, path.suffix, bench.world.pedal_sensor.levels, bench.world.channels)
        bench.watch_edges(_CaptureWatch(writer))

        def deliver() -> list[Path]:
            writer.end(bench.world.now_us)
            file.close()
            return delivery.deliver()

        yield deliver
