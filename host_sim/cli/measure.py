"""`treadle measure` on the command line: its options, its procedures, and the numbers it prints."""

import json
from pathlib import Path
from typing import Annotated

import typer

from host_sim.cli.options import ForceOption, JsonOption, OutOption, number
from host_sim.commands.measure import (
    AIR_DENSITY_KG_PER_M3,
    KNOWN_UNITS,
    MeasureRequest,
    MeasureResult,
    measure,
)
from host_sim.errors import RequestError
from host_sim.refusals import closest
from host_sim.textfile import spoken


def _kilograms(text: str) -> float:
    return number("--total-mass-kg", text, "a number of kg, 10 to 1000")


def _density(text: str) -> float:
    return number("--air-density", text, "a number of kg/m3, 0.5 to 1.6")


def read_push(text: str) -> tuple[float, float]:
    """Read one --pushed: way in metres and turns of the wheel."""
    allowed = "metres:turns, for example 21.34:10"
    way, colon, turns = text.partition(":")
    if not colon:
        raise RequestError(f"--pushed is {text[:60]!r}, allowed is {allowed}")
    push = number("--pushed", way, allowed), number("--pushed", turns, allowed)
    if not 1.0 <= push[1] <= 1000.0 or not 0.3 <= push[0] / push[1] <= 4.0:
        raise RequestError(f"--pushed is {text[:60]!r}, allowed is {allowed}: 1 turn or more of 0.3 to 4 m")
    return push


def _known_values(texts: list[str]) -> dict[str, list[tuple[float, float]]]:
    """Read all --known: for each part the pairs of reading and true value."""
    found: dict[str, list[tuple[float, float]]] = {}
    for text in texts:
        name, _, pair = text.partition("=")
        if name not in KNOWN_UNITS:
            raise RequestError(
                f"--known is {text[:60]!r}, its part is unknown: {closest(name, list(KNOWN_UNITS))}"
            )
        allowed = f"{name}=reading:true, for example {name}=3.51:3.60"
        reading, colon, true = pair.partition(":")
        if not colon:
            raise RequestError(f"--known is {text[:60]!r}, allowed is {allowed}")
        values = number("--known", reading, allowed), number("--known", true, allowed)
        if not all(-1000.0 <= value <= 1000.0 for value in values):
            raise RequestError(f"--known is {text[:60]!r}, allowed is {allowed}, each -1000 to 1000")
        found.setdefault(name, []).append(values)
    return found


def measure_command(
    bike: Annotated[str, typer.Argument(help="Bike file, or the name of an example bike.")],
    more: Annotated[
        list[Path] | None,
        typer.Argument(metavar="[FILE]...", help="More files of the one kind of log given."),
    ] = None,
    coast_down: Annotated[
        list[Path] | None, typer.Option(help="Log of coast-downs; give the option once a file.")
    ] = None,
    ride: Annotated[list[Path] | None, typer.Option(help="Log of a ride with a power meter.")] = None,
    load_steps: Annotated[list[Path] | None, typer.Option(help="Log of load steps on the battery.")] = None,
    pushed: Annotated[
        list[str] | None, typer.Option(metavar="METRES:TURNS", help="Way pushed and turns of the wheel.")
    ] = None,
    known: Annotated[
        list[str] | None,
        typer.Option(metavar="PART=READING:TRUE", help="What was read, and what a meter showed."),
    ] = None,
    total_mass_kg: Annotated[
        float | None,
        typer.Option(parser=_kilograms, metavar="KG", help="Everything that moves. Default: the bike file."),
    ] = None,
    air_density: Annotated[
        float, typer.Option(parser=_density, metavar="KG_PER_M3", help="Density of the air.")
    ] = AIR_DENSITY_KG_PER_M3,
    write: Annotated[bool, typer.Option("--write", help="Put the numbers into the bike file.")] = False,
    out: OutOption = None,
    force: ForceOption = False,
    as_json: JsonOption = False,
) -> None:
    """Measure numbers of a bicycle from logs, each with a 95 % interval.

    Logs are CSV with time_s first, then any of speed_m_per_s, altitude_m, cadence_rpm, rider_power_w,
    battery_v, current_a, command_v. Weigh everything that moves: an error of the mass goes into the numbers
    and is not in the intervals. Exit code 1 if a log was not enough for a number.

    **Coast-down** (rolling coefficient, drag area): a straight, even, empty road on a calm day. Ride at 8 m/s
    or more, stop pedalling, roll in the same posture without motor or brakes to below 2 m/s. Three times each
    way, there and back in turn (or first all there, then all back). Stop for traffic.

    **Ride** (the same two): half an hour or more with a power meter, motor off, calm day, hills and different
    speeds, few brakes.

    **Load steps** (pack resistance, voltage without load): record battery voltage and current while the load
    goes on and off at least twice, 10 s each; have someone who knows battery work do it.

    **Pushed** (wheel circumference): sit on the bicycle, have it pushed along a tape for ten turns of the
    wheel, three times: `--pushed 21.34:10`.

    **Known** (divider, shunt, throttle, selector): note what the board reads and what a meter shows at three
    values or more, low to high: `--known divider=35.1:36.0`. True value = scale x reading + offset.

    Example: `treadle measure my_bike.toml --coast-down there_and_back.csv --total-mass-kg 104 --write`
    """
    _add_more(more or [], [files for files in (coast_down, ride, load_steps) if files])
    request = MeasureRequest(
        bike,
        coast_down or [],
        ride or [],
        load_steps or [],
        [read_push(text) for text in pushed or []],
        _known_values(known or []),
        total_mass_kg,
        air_density,
        write,
        out,
        force,
    )
    result = measure(request)
    if as_json:
        print(json.dumps(result.as_json(), allow_nan=False))
        for sentence in result.missing:
            typer.echo(sentence, err=True)
    else:
        _print(result)
    if result.missing:
        raise typer.Exit(1)


def _add_more(more: list[Path], kinds: list[list[Path]]) -> None:
    """Let `--coast-down a.csv b.csv` mean both; with two kinds of logs it would be a guess."""
    if more and len(kinds) != 1:
        raise RequestError(
            f"{spoken(more[0])} stands without an option, allowed is one before each file "
            "where several kinds of logs are given"
        )
    if more:
        kinds[0].extend(more)


def _print(result: MeasureResult) -> None:
    for name, (estimate, how) in result.found.items():
        print(
            f"{name:22} {estimate.value:.5g} {estimate.unit}".rstrip()
            + f", 95 % {estimate.low:.5g} to {estimate.high:.5g} ({how})"
        )
    for sentence in result.missing:
        print(sentence)
    if result.written:
        print(f"written to {spoken(result.request.path)}: {', '.join(result.written)}")
    if result.files:
        print("files  " + "\n       ".join(spoken(path) for path in result.files))
