"""`treadle inspect` on the command line: its options, and its table of findings."""

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from host_sim.cli.inspect_live import inspect_live_command
from host_sim.cli.inspect_rows import changed_row, kind_rows, magnet_rows, print_findings, smallest_row
from host_sim.cli.inspect_wheel import inspect_wheel_command
from host_sim.cli.measure_options import read_push
from host_sim.cli.options import ForceOption, JsonOption, OutOption, whole_number
from host_sim.cli.printing import print_json
from host_sim.errors import RequestError
from host_sim.progress import progress_bar
from host_sim.textfile import spoken

if TYPE_CHECKING:
    from host_sim.inspecting.crank import InspectRequest, InspectResult

LOWEST_SAID = 3


def inspect_command(
    capture: Annotated[
        Path | None,
        typer.Argument(help="Recorded edges or volts: VCD, CSV, sigrok session or board dump."),
    ] = None,
    channels: Annotated[
        str | None, typer.Option(help="Channel names in the file, A first: crank_a,crank_b.")
    ] = None,
    forward: Annotated[
        str | None,
        typer.Option(metavar="START:END", help="Part of the capture with forward pedalling, in seconds."),
    ] = None,
    turns: Annotated[
        int | None,
        typer.Option(
            parser=whole_number("--turns", 2, 10_000),
            metavar="NUMBER",
            help="Number of crank turns in the capture, as you counted them.",
        ),
    ] = None,
    time_unit: Annotated[
        str | None, typer.Option(help="CSV file: unit of the times, s, ms, us or ns.")
    ] = None,
    samplerate: Annotated[
        int | None,
        typer.Option(
            parser=whole_number("--samplerate", 1, 9_000_000_000, "a whole number of samples a second"),
            metavar="HZ",
            help="CSV file without times: sample rate.",
        ),
    ] = None,
    thresholds: Annotated[
        str | None,
        typer.Option(metavar="LOW:HIGH", help="CSV file in volts: low below LOW, high above HIGH."),
    ] = None,
    wheel: Annotated[
        bool,
        typer.Option("--wheel", help="Capture of a wheel sensor; a second channel is high while driving."),
    ] = False,
    pushed: Annotated[
        str | None,
        typer.Option(
            metavar="METRES:TURNS", help="With --wheel: distance and wheel turns of the recorded push."
        ),
    ] = None,
    live: Annotated[
        bool, typer.Option("--live", help="Instead of a file: a guided capture from a board, step by step.")
    ] = False,
    port: Annotated[str | None, typer.Option(help="With --live: serial port. Default: the only one.")] = None,
    desk: Annotated[
        bool, typer.Option("--desk", help="With --live: use a desk board with a simulated rider.")
    ] = False,
    hurry: Annotated[bool, typer.Option("--hurry", help="With --desk: as fast as the computer can.")] = False,
    plant: Annotated[
        str | None,
        typer.Option(
            metavar="FAULT",
            help="With --desk: fault to simulate: missing-magnet, swapped-wires, dead-a or dead-b.",
        ),
    ] = None,
    bike: Annotated[str | None, typer.Option(help="Bike file to compare the capture with.")] = None,
    write: Annotated[
        bool, typer.Option("--write", help="Write the findings that are certain into the bike file.")
    ] = False,
    out: OutOption = None,
    force: ForceOption = False,
    as_json: JsonOption = False,
) -> None:
    """Identify a pedal sensor from recorded edges: its kind, its faults, and the settings it needs.

    Lift the driven wheel and disconnect the battery while somebody turns the crank for the recording. Writes
    inspection.png and inspection.json. Exit code 0 if the edges show that the sensor is fit for use, 1 if it
    is faulty, if the edges show too little, or if the bike file disagrees. The report names what the edges
    don't show, and what would help.

    With --wheel the capture is of a wheel sensor: pulses per turn, pulses lost or doubled by speed, motor
    noise. If the magnets are evenly spaced, or there is only one, only a push shows how many there are: push
    the bicycle along a tape for five turns of the wheel while recording, and give --pushed METRES:TURNS.

    With --live no file is needed: the board streams its edges, and the program tells you how to turn the
    crank (six turns forward, stop, two back). It finds the forward direction, the pulses per turn, and the
    angle from the crank arm to magnet 1.

    Example: `treadle inspect crank.vcd --forward 2:8 --bike my_bike.toml --write`
    """
    if live:
        file_options = (capture, channels, forward, turns, time_unit, samplerate, thresholds, pushed)
        if any(one is not None for one in file_options) or wheel or write:
            raise RequestError(
                "--live is given with a file or an option for files, allowed with --live are --port, --out, "
                "--force, --json, and --desk with --bike, --hurry and --plant"
            )
        inspect_live_command(port, desk, bike, plant, hurry, out, force, as_json)
        return
    if port is not None or desk or hurry or plant is not None:
        raise RequestError("--port, --desk, --hurry and --plant are allowed only with --live")
    if capture is None:
        raise RequestError("no capture is given, allowed is a file, or --live")
    if wheel:
        _refuse_crank_options(forward, turns, thresholds)
        from host_sim.inspecting.wheel import WheelRequest

        push = read_push(pushed) if pushed is not None else None
        asked = WheelRequest(capture, channels, time_unit, samplerate, push, bike, write, out, force)
        inspect_wheel_command(asked, as_json)
        return
    if pushed is not None:
        raise RequestError("--pushed is allowed only with --wheel")
    # Imported here: the numerical libraries take longer to load than all other commands together.
    from host_sim.inspecting.crank import InspectRequest, inspect_capture

    request = InspectRequest(
        capture, channels, forward, turns, time_unit, bike, write, out, force, samplerate, thresholds
    )
    with progress_bar("reading") as done:
        result = inspect_capture(request, done)
    if as_json:
        print_json(result.as_json)
    else:
        _print_findings(result, request)
    if not result.fit:
        raise typer.Exit(1)


def _refuse_crank_options(forward: str | None, turns: int | None, thresholds: str | None) -> None:
    for name, given in (("--forward", forward), ("--turns", turns), ("--thresholds", thresholds)):
        if given is not None:
            raise RequestError(
                f"{name} and --wheel are both given, but {name} is allowed for a pedal sensor only"
            )


def _print_findings(result: "InspectResult", request: "InspectRequest") -> None:
    rows = [("capture", f"{spoken(request.capture_path)}, {result.form}, channels {', '.join(result.names)}")]
    rows += _sensor_rows(result) + _volts_rows(result) + _turning_rows(result) + _support_rows(result)
    if request.write:
        rows.append(changed_row(result.changed))
    print_findings(rows, result.files, result.advice, result.why)


def _sensor_rows(result: "InspectResult") -> list[tuple[str, str]]:
    found = result.inspection
    rows = kind_rows(found)
    for name, duty in found.duty.items():
        rows.append((f"duty of {name}", duty.said("" if duty.value is None else f"{duty.value:.1%}")))
    if found.phase_deg.value is not None:
        rows.append(("phase", found.phase_deg.said(f"{found.phase_deg.value:.0f}°")))
    return rows + magnet_rows(found)


def _volts_rows(result: "InspectResult") -> list[tuple[str, str]]:
    """Return a row for each channel, and its lowest magnets."""
    rows = []
    for one in result.volts.channels if result.volts is not None else []:
        low_v, high_v = one.thresholds_v
        swing = f"swing {one.swing.usual_v:.2f} V, noise {one.swing.noise_v:.2f} V"
        rows.append((f"volts of {one.name}", f"{swing}, thresholds {low_v:.2f} and {high_v:.2f} V"))
        if one.dead or not one.swing.linear or not one.magnets:
            continue
        lowest = sorted(one.magnets, key=lambda magnet: magnet.margin_v)[:LOWEST_SAID]
        rows.append(
            (
                f"least margins of {one.name}",
                ", ".join(
                    f"magnet {magnet.number} {magnet.margin_v:.2f} V ({magnet.share:.0%} high)"
                    for magnet in lowest
                ),
            )
        )
    return rows


def _turning_rows(result: "InspectResult") -> list[tuple[str, str]]:
    found = result.inspection
    cadence = found.cadence
    told = "can't tell"
    if cadence is not None:
        told = f"{cadence.least:.0f} to {cadence.most:.0f} rpm, median {cadence.median:.0f} rpm"
        told = told if found.pulses.sure else f"if the number of pulses is right, {told}"
    board = found.board
    return [
        ("cadence", told),
        ("noise, refused edges", f"{found.noise_per_s:.2f}, {found.invalid_per_s:.2f} a second"),
        ("the board would count", f"{board.forward} edges forward, {board.backward} backward"),
        ("reversals", str(found.reversals)),
    ]


def _support_rows(result: "InspectResult") -> list[tuple[str, str]]:
    support = result.support
    if support is None:
        return []
    rows = [smallest_row(support)]
    for row in support.rows:
        slowest = f"{row.slowest_rpm} rpm" if row.slowest_rpm else "no cadence"
        told = (
            f"help continues from {slowest} on; after stopping at 60 rpm it ends in {row.stop_s:.2f} s, "
            f"{row.distance_m:.2f} m"
        )
        rows.append((f"at {row.speed_km_per_h:.0f} km/h", told))
    return rows
