"""`treadle compare` on the command line: its options, and what it prints."""

import json
import sys
from pathlib import Path
from typing import Annotated

import typer

from host_sim.cli.options import BikeArgument, ForceOption, JsonOption, OutOption, number
from host_sim.commands.compare import CAUTION, CompareRequest, CompareResult, compare
from host_sim.comparing.causes import Cause
from host_sim.textfile import spoken


def _seconds(text: str) -> float:
    return number("--seconds", text, "a number of seconds, 10 to 1800")


def compare_command(
    bike: BikeArgument,
    log: Annotated[Path, typer.Argument(help="Log of watch --record or --blackbox.")],
    seconds: Annotated[
        float | None,
        typer.Option(parser=_seconds, metavar="SECONDS", help="Only so long. Default: all, up to 1800."),
    ] = None,
    out: OutOption = None,
    force: ForceOption = False,
    as_json: JsonOption = False,
) -> None:
    """Compare a recorded ride with what the bench predicts of it.

    The bench rides the log's rider, road and levers with the settings of the log. Speed, battery power,
    command and engagements are drawn over the measured ones (compare.png), with their errors. Then every
    number of motor, battery and road is moved within its interval (that of `measure --write`, or a fifth
    either way): what would explain the difference is named, with the value that does.

    Example: `treadle compare my_bike.toml sunday.steps --out sunday`
    """
    result = compare(CompareRequest(bike, log, seconds, out, force), _progress)
    if as_json:
        print(json.dumps(result.as_json(), allow_nan=False))
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
        print(f"the board was set otherwise than the bike file says, and so is the bench: {named}")
    print(f"note: {CAUTION}")
    print("files  " + "\n       ".join(spoken(path) for path in result.files))


def _print_engagements(result: CompareResult) -> None:
    found = result.engagements
    words = f"{found.both} times on both"
    if found.begins_later_s is not None and found.ends_later_s is not None:
        words += f" (the bench begins {found.begins_later_s:+.2f} s, ends {found.ends_later_s:+.2f} s later)"
    print(
        f"help           {words}, {found.measured_only} on the road only, {found.predicted_only} on the bench"
    )


def _print_causes(result: CompareResult) -> None:
    causes = result.causes
    if causes.road_error is None:
        print("rolling and air: nobody coasted for 5 s, so the log says nothing of them")
    if not causes.named:
        print("no number of the bike file would explain a fifth of what is left: nothing to correct")
    for cause in causes.named:
        print(f"would explain {100 * cause.share:.0f} %: {_told(cause)}")
    if len(causes.named) > 1:
        print("several explain the same error: measure the one that is known least, then compare again")


def _told(cause: Cause) -> str:
    interval = cause.interval
    known = "measured" if interval.measured else "not measured, a fifth either way"
    end = "; the end of its interval, more would explain more" if cause.at_end else ""
    value = f"{cause.number.words} of {cause.value:.4g} {cause.number.unit}".rstrip()
    known_to = f"{interval.low:.4g} to {interval.high:.4g}, {known}{end}"
    return f"{value} instead of {cause.file_value:.4g} ({cause.number.name}, {known_to})"
