"""`treadle ride`: rides one bike through one ride, and prints the results."""

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Annotated, Any

import typer

from host_sim.bench.assemble import bench_for, bicycle_of
from host_sim.bench.course import load_course
from host_sim.bench.meter import J_PER_WH, Meter
from host_sim.bench.named_controller import named_controller
from host_sim.bench.recorded_effort import Road
from host_sim.bench.recording import read_recording
from host_sim.bench.ride import Bench
from host_sim.bench.ride_progress import progress_watch
from host_sim.bench.script import CourseScript, RecordingScript, Script
from host_sim.bench.sim_board import StepWatch
from host_sim.bench.world import EdgeWatch
from host_sim.bikes.load import load_bike
from host_sim.bikes.model import Bike
from host_sim.capture.writers import CaptureWriter, refuse_suffix
from host_sim.cli.options import (
    DEFAULT_BIKE,
    ControllerOption,
    ForceOption,
    JsonOption,
    OutOption,
    SeedOption,
)
from host_sim.cli.options import seconds as read_seconds
from host_sim.cli.printing import files_row, print_json, print_rows, rounded
from host_sim.cli.replay import ReplayRequest, replay_command
from host_sim.errors import RequestError
from host_sim.outputs import Delivery, fresh_folder, refuse_missing_folder
from host_sim.report.ride_and_draw import ride_and_draw
from host_sim.textfile import spoken

DEFAULT_RECORDING = "road_ride_a"
HIDDEN = "states are read from them, and what it senses, wants and allows is 0 in trace and picture"
FILES = ("trace.csv", "edges.csv", "ride.png")


class RideRequest:
    """The bike, the recording or course, the length, the seed and the output folder.

    `capture` is a file for the crank edges, in addition to those in the folder; None writes none.
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
            road = Road(bicycle_of(self.bike), self.bike.rider.riders)
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
    """The results: `as_json` with the documented keys, and notes for people."""

    def __init__(self, request: RideRequest, bench: Bench, wall_s: float, files: list[Path]) -> None:
        """Collect the numbers of the ride."""
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
            "first_assist_s": rounded(meter.first_assist_s, 3),
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
            bench,
            request.bike,
            request.script,
            request.seconds,
            request.script.title,
            trace,
            picture,
            estimated=request.estimated,
        )
        window.write(delivery.place("edges.csv"))
        return RideResult(request, bench, wall_s, delivery.deliver() + capture())


class _CaptureWatch(EdgeWatch):
    """Passes the ride's crank edges to a capture."""

    def __init__(self, writer: CaptureWriter) -> None:
        self._writer = writer

    def edge(self, time_us: int, levels: int) -> None:
        self._writer.edge(time_us, levels)


@contextmanager
def _capturing(request: RideRequest, bench: Bench) -> Iterator[Callable[[], list[Path]]]:
    """Write the crank edges during the block, if requested; yield a function that completes the file."""
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


def ride_command(
    bike: Annotated[
        str | None, typer.Argument(help="Bike file, or the name of an example bike. Default: cargo_trike.")
    ] = None,
    recording: Annotated[
        str | None, typer.Option(help="Recorded ride: a CSV or FIT file, or the name of an example.")
    ] = None,
    course: Annotated[
        str | None, typer.Option(help="Scripted ride: a TOML file, or the name of an example.")
    ] = None,
    seconds: Annotated[
        float | None,
        typer.Option(
            parser=read_seconds, metavar="SECONDS", help="Stop after this time. Default: the whole ride."
        ),
    ] = None,
    seed: SeedOption = 1,
    out: OutOption = None,
    force: ForceOption = False,
    capture: Annotated[
        Path | None, typer.Option(help="Also write the crank edges to this .vcd or .csv file.")
    ] = None,
    controller: ControllerOption = None,
    replay: Annotated[
        Path | None,
        typer.Option(help="Run the firmware through this log of treadle watch (--record or --blackbox)."),
    ] = None,
    changes: Annotated[
        list[str] | None,
        typer.Option("--set", metavar="NAME=VALUE", help="With --replay: change a setting; repeatable."),
    ] = None,
    as_test: Annotated[
        Path | None, typer.Option(help="With --replay: write the ride as a unit test to this test_….py file.")
    ] = None,
    as_json: JsonOption = False,
) -> None:
    """Ride a bike on the bench and see what the assist did.

    Without arguments the cargo trike rides a recorded road ride. Writes trace.csv (20 rows a second),
    edges.csv (one second of crank edges) and ride.png. `--capture ride.vcd` also writes all crank edges to a
    file that any waveform viewer opens.

    `--replay ride.steps` runs the firmware through the inputs that a board recorded. The outputs must equal
    the board's; the first difference is reported. With another bike or `--set` it shows what the firmware
    would have decided.

    Example: `treadle ride folding --course errand --seed 7 --out errand`
    """
    if replay is not None:
        if any(given is not None for given in (recording, course, seconds, capture, controller)):
            raise RequestError(
                "--replay takes the ride from its log, allowed with it is BIKE, --set, --as-test, --out"
            )
        replay_command(ReplayRequest(replay, bike, changes or [], out, force, as_test), as_json)
        return
    if changes or as_test is not None:
        raise RequestError("--set and --as-test are allowed only with --replay")
    request = RideRequest(
        bike or DEFAULT_BIKE, recording, course, seconds, seed, out, force, capture, controller
    )
    with progress_watch("riding", request.seconds) as watch:
        result = ride(request, watch)
    if as_json:
        print_json(result.as_json)
    else:
        _print_ride(result)


def _print_ride(result: RideResult) -> None:
    """Print the short table of a ride."""
    numbers = result.as_json
    first_s = numbers["first_assist_s"]
    speed_up = numbers["simulated_s"] / max(numbers["wall_s"], 1e-3)
    rider = "rider (estimated)" if "rider power" in result.estimated else "rider"
    rows = (
        ("bike, ride, seed", f"{spoken(numbers['bike'])}, {spoken(numbers['ride'])}, {numbers['seed']}"),
        ("ridden", f"{numbers['distance_m'] / 1000:.2f} km in {numbers['simulated_s']:.0f} s"),
        ("on the bench", f"{numbers['wall_s']:.1f} s, {speed_up:.0f} times real time"),
        ("energy", f"{rider} {numbers['rider_wh']:.1f} Wh, battery {numbers['assist_wh']:.1f} Wh"),
        ("engagements by the pedals", f"{numbers['engagements']}"),
        ("first assistance", "none" if first_s is None else f"{first_s:.2f} s after the start"),
        ("longest run-on", f"{numbers['longest_run_on_s']:.3f} s"),
        ("longest cut-off distance", f"{numbers['longest_cutoff_distance_m']:.2f} m"),
        ("highest command voltage", f"{numbers['max_command_mv'] / 1000:.2f} V"),
        ("faults", "\n".join(dict.fromkeys(numbers["faults"])) or "none"),
        files_row(numbers["files"]),
    )
    print_rows(rows)
    if result.hides:
        print(result.hides)
    if result.estimated:
        print(
            f"estimated from the recorded speed, not recorded: {', '.join(result.estimated)}; "
            "without wind, on a level road if the recording has no altitude"
        )
    if result.notes:
        print(f"recording changed by rule: {', '.join(result.notes)}")
