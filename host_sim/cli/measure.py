"""`treadle measure`: numbers of a bicycle, measured from logs with intervals, into its bike file."""

from pathlib import Path
from typing import Annotated

import typer

from host_sim.cli.measure_logs import AIR_DENSITY_KG_PER_M3, MeasureRequest, MeasureResult, measure
from host_sim.cli.measure_options import air_density_of, kilograms, known_values, read_push
from host_sim.cli.options import ForceOption, JsonOption, OutOption
from host_sim.cli.printing import print_files, print_json
from host_sim.errors import RequestError
from host_sim.textfile import spoken


def measure_command(
    bike: Annotated[str, typer.Argument(help="Bike file, or the name of an example bike.")],
    more: Annotated[
        list[Path] | None,
        typer.Argument(metavar="[FILE]...", help="More logs, if only one kind of log is given."),
    ] = None,
    coast_down: Annotated[list[Path] | None, typer.Option(help="Log of coast-downs; repeatable.")] = None,
    ride: Annotated[
        list[Path] | None, typer.Option(help="Log of a ride with a power meter; repeatable.")
    ] = None,
    stand: Annotated[
        list[Path] | None,
        typer.Option(help="Log of a stand run: wheel free, three speeds and stops; repeatable."),
    ] = None,
    load_steps: Annotated[
        list[Path] | None, typer.Option(help="Log of load steps on the battery; repeatable.")
    ] = None,
    pushed: Annotated[
        list[str] | None,
        typer.Option(metavar="METRES:TURNS", help="Distance pushed, and turns of the wheel; repeatable."),
    ] = None,
    known: Annotated[
        list[str] | None,
        typer.Option(
            metavar="PART=READING:TRUE",
            help="The board's reading and the meter's value of a part, or a record of `treadle calibrate`; "
            "repeatable.",
        ),
    ] = None,
    total_mass_kg: Annotated[
        float | None,
        typer.Option(
            parser=kilograms, metavar="KG", help="Mass of bicycle, rider and load. Default: the bike file."
        ),
    ] = None,
    air_density: Annotated[
        float, typer.Option(parser=air_density_of, metavar="KG_PER_M3", help="Density of the air.")
    ] = AIR_DENSITY_KG_PER_M3,
    write: Annotated[bool, typer.Option("--write", help="Write the numbers into the bike file.")] = False,
    out: OutOption = None,
    force: ForceOption = False,
    as_json: JsonOption = False,
) -> None:
    """Measure numbers of a bicycle from logs, each with a 95 % interval.

    Logs are CSV with time_s first, then any of speed_m_per_s, altitude_m, cadence_rpm, rider_power_w,
    battery_v, current_a, command_v; or a record of `treadle watch --record`. Weigh bicycle, rider and load:
    an error of the mass changes the numbers, and the intervals don't include it. Exit code 1 if a log was not
    enough for a number.

    **Coast-down** (rolling coefficient, drag area): a straight, even, empty road on a calm day. Ride at 8 m/s
    or more, stop pedalling, roll in the same posture without motor or brakes to below 2 m/s. Three times in
    each direction, alternating (or first all there, then all back). Stop for traffic.

    **Ride** (the same two): an hour and a half or more with a power meter, motor off, calm day, there and
    back or in a circle, hills and different speeds. Keep pedalling; brake little.

    **Stand run** (volts for a speed, resistance, no-load current, lag, dead band and kind of the motor
    controller): the driven wheel off the ground on a stand that can't tip, hands, hair and clothes away from
    it, the hand throttle wired to the motor controller. Log speed, battery voltage, current and command (the
    throttle's voltage) 100 times a second or more. Start from rest. Open in half a second to a command that
    turns the wheel slowly, hold it for four seconds, close, stop the wheel with its brake; the same with a
    middle command, then fully open. Three rounds: open slowly, at once, slowly. With fewer samples, wheel
    pulses or no current some of the numbers are unknown, and it says which.

    **Load steps** (pack resistance, voltage without load): record battery voltage and current while the load
    goes on and off at least twice, 10 s each; only someone trained in battery work should do it.

    **Pushed** (wheel circumference): sit on the bicycle and have it pushed along a tape for ten turns of the
    wheel, three times: `--pushed 21.34:10`.

    **Known** (divider, shunt, throttle, selector): note the board's reading and the meter's at three or more
    values, from low to high: `--known divider=35.1:36.0`. True value = scale x reading + offset. Each record
    of `treadle calibrate` holds one pair for divider and shunt: calibrate at three charges or more, then
    `--known first.json --known second.json --known third.json`. Throttle and selector it writes into the bike
    file itself, as the board reads them, so they need no pairs.

    Example: `treadle measure my_bike.toml --coast-down there_and_back.csv --total-mass-kg 104 --write`
    """
    _add_more(more or [], [files for files in (coast_down, ride, stand, load_steps) if files])
    request = MeasureRequest(
        bike,
        coast_down or [],
        ride or [],
        load_steps or [],
        [read_push(text) for text in pushed or []],
        known_values(known or []),
        total_mass_kg,
        air_density,
        write,
        out,
        force,
        stand or [],
    )
    result = measure(request)
    if as_json:
        print_json(result.as_json())
        for sentence in result.notes + result.missing:
            typer.echo(sentence, err=True)
    else:
        _print(result)
    if result.missing:
        raise typer.Exit(1)


def _add_more(more: list[Path], kinds: list[list[Path]]) -> None:
    """Let `--coast-down a.csv b.csv` mean both; refuse it with two kinds of logs, where it is ambiguous."""
    if more and len(kinds) != 1:
        raise RequestError(
            f"{spoken(more[0])} has no option, allowed is one option before each file if several kinds of "
            f"logs are given"
        )
    if more:
        kinds[0].extend(more)


def _print(result: MeasureResult) -> None:
    for name, (estimate, how) in result.found.items():
        print(
            f"{name:22} {estimate.value:.5g} {estimate.unit}".rstrip()
            + f", 95 % {estimate.low:.5g} to {estimate.high:.5g} ({how})"
        )
    for kind in result.kinds[:1]:
        print(f"{'motor_controller_kind':22} {kind} (stand run)")
    for sentence in result.notes + result.missing:
        print(sentence)
    if result.written:
        print(f"written to {spoken(result.request.path)}: {', '.join(result.written)}")
    if result.files:
        print_files(result.files)
