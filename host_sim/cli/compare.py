"""`treadle compare`: compares a board's log with the bench's prediction of the same ride."""

import sys
from collections.abc import Callable
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Annotated, Any

import typer

from host_sim.bikes.load import load_bike
from host_sim.cli.options import BikeArgument, ForceOption, JsonOption, OutOption, check_range, number
from host_sim.cli.printing import print_files, print_json, rounded
from host_sim.comparing.causes import Cause, Causes, find_causes
from host_sim.comparing.difference import Engagements, Gap, gaps, match
from host_sim.comparing.measured import measured
from host_sim.comparing.predicted import predict
from host_sim.measuring.bike_numbers import bike_path
from host_sim.measuring.intervals import ALIKE_ON_THE_ROAD, DRIVE, ROAD, WHEEL_PULSES, intervals
from host_sim.outputs import Delivery, fresh_folder
from host_sim.replay.log_file import read_log
from host_sim.textfile import spoken

PICTURE = "compare.png"
SECONDS = (10.0, 1800.0)
CAUSES_S = 300.0  # Each number is tried at about fifteen values, so a longer ride would take minutes.
CAUTION = (
    "a board records neither rider power nor slope nor wind: power and slope are estimated from the "
    "measured speed, so the speed agrees wherever they can explain it; a slight slope or wind looks like "
    "another rolling coefficient or drag area"
)


class CompareRequest:
    """The bike, the log, its length, and the output folder."""

    def __init__(
        self, bike: str, log: Path, seconds: float | None = None, out: Path | None = None, force: bool = False
    ) -> None:
        """Load and check everything; RequestError says what is wrong."""
        if seconds is not None:
            check_range("--seconds", seconds, SECONDS)
        self.path = bike_path(bike)
        self.bike = load_bike(bike)
        self.log = log
        self.section = read_log(log).longest
        self.section.firmware_settings()  # Refused here if they don't fit.
        self.measured = measured(self.section, seconds or SECONDS[1])
        self.known = intervals(self.path, self.bike, ROAD + ALIKE_ON_THE_ROAD + DRIVE)
        self.out = out or fresh_folder("treadle-compare")
        self.force = force

    @property
    def other_settings(self) -> list[str]:
        """Return the names of the settings in which log and bike file differ."""
        here = self.bike.firmware_settings.as_dict()
        there = self.measured.settings.as_dict()
        return [name for name, value in there.items() if here[name] != value]


@dataclass(frozen=True, slots=True)
class CompareResult:
    """The errors of the prediction by name, the engagements on both sides, and the causes."""

    request: CompareRequest
    gaps: dict[str, Gap]
    engagements: Engagements
    causes: Causes
    files: list[Path]

    def as_json(self) -> dict[str, Any]:
        """Return the results under the documented keys."""
        return {
            "bike": self.request.bike.name,
            "log": str(self.request.log),
            "seconds": round(self.request.measured.seconds, 1),
            "errors": {name: gap.as_json() for name, gap in self.gaps.items()},
            "engagements": asdict(self.engagements),
            "causes": [cause.as_json() for cause in self.causes.named],
            "drive_error": round(self.causes.drive_error, 3),
            "road_error": rounded(self.causes.road_error, 3),
            "slope_or_wind": self.causes.slope_or_wind,
            "other_settings": self.request.other_settings,
            "note": CAUTION,
            "files": [str(path) for path in self.files],
        }


def compare(request: CompareRequest, progress: Callable[[str], None] = lambda words: None) -> CompareResult:
    """Ride the log on the bench, draw both, and search for causes of the difference."""
    with Delivery(request.out, (PICTURE,), request.force) as delivery:
        ride = request.measured
        progress("the ride")
        predicted = predict(request.bike, ride)
        part = ride if ride.seconds <= CAUSES_S else measured(request.section, CAUSES_S)
        causes = find_causes(request.bike, part, request.known, progress)
        errors = gaps(predicted, ride)
        # Imported here: drawing takes a second to load.
        from host_sim.report.compare_figure import draw_compare

        title = f"{request.bike.title}: {request.log.name} and the bench"
        draw_compare(ride, predicted, errors, causes, title, delivery.place(PICTURE))
        return CompareResult(request, errors, match(predicted, ride), causes, delivery.deliver())


def _seconds(text: str) -> float:
    return number("--seconds", text, "a number of seconds, 10 to 1800")


def compare_command(
    bike: BikeArgument,
    log: Annotated[Path, typer.Argument(help="Log of treadle watch (--record or --blackbox).")],
    seconds: Annotated[
        float | None,
        typer.Option(
            parser=_seconds, metavar="SECONDS", help="Compare only this long. Default: all, up to 1800."
        ),
    ] = None,
    out: OutOption = None,
    force: ForceOption = False,
    as_json: JsonOption = False,
) -> None:
    """Compare a recorded ride with the bench's prediction of it.

    The bench rides the log's rider, road and levers with the settings of the log. It draws predicted and
    measured speed, battery power, command and engagements together (compare.png), and reports the errors.
    Then it varies each number of motor, battery and road within its interval (from `measure --write`, or a
    fifth either way), and names the numbers that would explain the difference, with the values that do.

    Example: `treadle compare my_bike.toml sunday.steps --out sunday`
    """
    result = compare(CompareRequest(bike, log, seconds, out, force), _progress)
    if as_json:
        print_json(result.as_json())
    else:
        _print(result)


def _progress(words: str) -> None:
    if sys.stderr.isatty():
        print(f"\r\033[Kriding: {words}", end="", file=sys.stderr)


def _print(result: CompareResult) -> None:
    if sys.stderr.isatty():
        print("\r\033[K", end="", file=sys.stderr)
    request = result.request
    print(f"compared  {request.measured.seconds:.1f} s of {spoken(request.log)}")
    for name, gap in result.gaps.items():
        print(
            f"{name.replace('_', ' '):14} bench minus road {gap.mean:+.3g} {gap.unit} in the mean, "
            f"{gap.rms:.3g} {gap.unit} rms, of {gap.measured_mean:.3g} {gap.unit}"
        )
    _print_engagements(result)
    _print_causes(result)
    if request.other_settings:
        named = ", ".join(request.other_settings[:4]) + (" …" if len(request.other_settings) > 4 else "")
        print(f"the board's settings differ from the bike file's, and the bench uses the board's: {named}")
    print(f"note: {CAUTION}")
    print_files(result.files)


def _print_engagements(result: CompareResult) -> None:
    found = result.engagements
    words = f"{found.both} times on both"
    if found.begins_later_s is not None and found.ends_later_s is not None:
        words += f" (the bench begins {found.begins_later_s:+.2f} s, ends {found.ends_later_s:+.2f} s later)"
    only = f"{found.measured_only} on the road only, {found.predicted_only} on the bench only"
    print(f"help           {words}, {only}")


def _print_causes(result: CompareResult) -> None:
    causes = result.causes
    if causes.road_error is None:
        print("rolling and air: not compared, because the log has no coasting of 5 s")
    if causes.slope_or_wind:
        print("where it coasts the speed differs by more than any number explains: a slope, wind or brakes")
    elif not causes.named:
        print("no number of the bike file would explain a fifth of the remaining error: nothing to correct")
    for cause in causes.named:
        print(f"would explain {100 * cause.share:.0f} %: {_told(cause)}")
    for group in causes.not_distinguished:
        names = ", ".join(cause.number.name for cause in group)
        print(f"this log can't distinguish these: {names}; measure the least certain one, then compare again")


def _told(cause: Cause) -> str:
    interval = cause.interval
    known = "measured" if interval.measured else "not measured, a fifth either way"
    if cause.number is WHEEL_PULSES:
        known = "the counts tried"
    end = "; this is the end of its interval, a value beyond it would explain more" if cause.at_end else ""
    value = f"{cause.number.words} of {cause.value:.4g} {cause.number.unit}".rstrip()
    known_to = f"{interval.low:.4g} to {interval.high:.4g}, {known}{end}"
    return f"{value} instead of {cause.file_value:.4g} ({cause.number.name}, {known_to})"
