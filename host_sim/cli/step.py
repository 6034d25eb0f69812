"""`treadle step`: the step response of a board's power loop, measured and simulated in one figure."""

import time
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from host_sim.bikes.load import load_bike
from host_sim.cli.at_the_board import DeskOption, FilesOption, HurryOption, PortOption, opened_port
from host_sim.cli.options import DEFAULT_BIKE, BikeArgument, ForceOption, JsonOption
from host_sim.cli.options import seconds as read_seconds
from host_sim.cli.printing import print_json, rounded
from host_sim.errors import RequestError
from host_sim.lab.bench_bridge import Bridged, Curve, bridge
from host_sim.lab.bench_bridge_figure import bridge_page
from host_sim.outputs import refuse_missing_folder, whole_file
from host_sim.textfile import spoken
from host_sim.watching.workshop import BoardTrouble

if TYPE_CHECKING:
    from host_sim.boardlink.console_client import BytePort
    from host_sim.watching.step_seen import StepSeen

SECONDS, SECONDS_MAX = 120.0, 3600.0
_DESK_WORDS = (
    "The desk board's motor is a current that follows the command at once; the bench uses the same motor."
)
_BIKE_WORDS = (
    "The bench uses the motor and the battery of the bike file, and the cadence and wheel speed that the "
    "board sent. Where the curves differ, the motor in the file differs from the motor on the stand."
)


class StepRequest:
    """The bike, how long to wait, and the path of the page."""

    def __init__(self, bike: str, desk: bool, seconds: float, out: Path | None, force: bool) -> None:
        """Check everything before a port is opened; RequestError says what is wrong."""
        self.bike = load_bike(bike)
        self.desk = desk
        if not 10.0 <= seconds <= SECONDS_MAX:
            raise RequestError(f"--seconds is {seconds:g}, allowed is a number from 10 to {SECONDS_MAX:.0f}")
        self.seconds = seconds
        self.out = out or Path(f"step-{self.bike.name}.html")
        if self.out.suffix.lower() not in (".html", ".htm"):
            raise RequestError(f"--out is {spoken(self.out)}, allowed is a file name that ends with .html")
        refuse_missing_folder(self.out, "--out")
        self.force = force


@dataclass(frozen=True, slots=True)
class StepResult:
    """What was measured and simulated, and the page."""

    request: StepRequest
    bridged: Bridged

    def as_json(self) -> dict[str, Any]:
        """Return the numbers under their documented keys."""
        both = {"measured": self.bridged.measured, "simulated": self.bridged.simulated}
        return {
            "bike": self.request.bike.name,
            "desk": self.request.desk,
            "gain_uv_per_w": self.bridged.gain_uv_per_w,
            "integral_ms": self.bridged.integral_ms,
            "rise_mv_per_s": self.bridged.rise_mv_per_s,
            **{
                name: {
                    "rise_s": rounded(curve.rise_s, 3),
                    "overshoot_percent": round(curve.overshoot_percent, 1),
                    "last_w": round(curve.last_w, 1),
                    "last_v": round(curve.last_v, 3),
                }
                for name, curve in both.items()
            },
            "largest_w": round(self.bridged.largest_w, 1),
            "file": str(self.request.out),
        }


class NoStep(BoardTrouble):
    """No step was seen in time; the message is one sentence."""


def step(request: StepRequest, port: "BytePort", clock_s: Callable[[], float] = time.monotonic) -> StepResult:
    """Wait for a step, ride it on the bench, write the page. NoStep if no step came."""
    with whole_file(request.out, request.force) as place:
        settings, seen = _wait(request, port, clock_s)
        bridged = bridge(request.bike, settings, seen, request.desk)
        title = f"A step of the power loop: {request.bike.title}"
        words = _DESK_WORDS if request.desk else _BIKE_WORDS
        place.write_text(bridge_page(title, bridged, words), encoding="utf-8")
    return StepResult(request, bridged)


def _wait(
    request: StepRequest, port: "BytePort", clock_s: Callable[[], float]
) -> "tuple[dict[str, int], StepSeen]":
    """Request the settings, and listen until a step is complete."""
    from host_sim.boardlink.console_client import BoardRefusal, BoardSilent, ConsoleClient
    from host_sim.boardlink.frames import Frame
    from host_sim.watching.step_seen import StepFinder
    from host_sim.watching.watched import other_kind_of

    arrived: list[Frame] = []
    client = ConsoleClient(port, arrived.append)
    try:
        settings = client.settings()
    except (BoardRefusal, BoardSilent) as error:
        raise NoStep(f"the board did not send its settings: {error}") from None
    finder, ends_s = StepFinder(), clock_s() + request.seconds
    while clock_s() < ends_s:
        arrived += [item for item in client.wire.feed(port.read(4_096)) if isinstance(item, Frame)]
        for frame in arrived:
            seen = finder.take(frame)
            if seen is not None:
                return settings, seen
        arrived.clear()
        if client.wire.other_kind is not None:
            raise NoStep(other_kind_of(client.wire.other_kind))
    why = f" ({finder.why_not})" if finder.why_not else ""
    raise NoStep(
        f"no step was seen in {request.seconds:g} s{why}: rest for 3 s, pedal until the motor helps, and "
        "keep an even pace for 6 s"
    )


def step_command(
    bike: BikeArgument = DEFAULT_BIKE,
    port: PortOption = None,
    desk: DeskOption = False,
    files: FilesOption = None,
    hurry: HurryOption = False,
    seconds: Annotated[
        float, typer.Option(parser=read_seconds, metavar="SECONDS", help="How long to wait for a step.")
    ] = SECONDS,
    out: Annotated[
        Path | None, typer.Option(metavar="FILE", help="File for the page. Default: step-BIKE.html here.")
    ] = None,
    force: ForceOption = False,
    as_json: JsonOption = False,
) -> None:
    """Measure the step response of a board's power loop and compare it with the bench's.

    This is lesson 4 on a real board: rest for 3 s, pedal until the motor helps, and keep an even pace for
    6 s. The bench uses the board's settings, and the cadence and wheel speed that the board sent; one page
    plots power and command of both. With --desk a simulated rider pedals, and the bench uses the desk
    board's motor.

    Lift the driven wheel off the ground, keep clear of it, and keep one hand at the battery switch.

    Example: `treadle step my_trike.toml`
    """
    request = StepRequest(bike, desk, seconds, out, force)
    with opened_port(port, desk, bike, files, hurry) as opened:
        result = step(request, opened)
    if as_json:
        print_json(result.as_json())
    else:
        _print(result)


def _print(result: StepResult) -> None:
    bridged = result.bridged
    board, bench = _told(bridged.measured), _told(bridged.simulated)
    print(f"{'':<16}{'board':>10}{'bench':>10}")
    for name, measured, simulated in zip(_ROWS, board, bench, strict=True):
        print(f"{name:<16}{measured:>10}{simulated:>10}")
    print(f"{'largest gap':<16}{bridged.largest_w:>8.0f} W")
    print(f"{'file':<16}{spoken(result.request.out)}")


_ROWS = ("rise time", "overshoot", "power, end", "command, end")


def _told(curve: Curve) -> tuple[str, ...]:
    rise = "never" if curve.rise_s is None else f"{curve.rise_s:.2f} s"
    return rise, f"{curve.overshoot_percent:.0f} %", f"{curve.last_w:.0f} W", f"{curve.last_v:.2f} V"
