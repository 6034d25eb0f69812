"""`treadle inspect --wheel` on the command line: its table."""

from typing import TYPE_CHECKING

import typer

from host_sim.cli.inspect_rows import changed_row, print_findings
from host_sim.cli.printing import print_json
from host_sim.progress import progress_bar
from host_sim.textfile import spoken

if TYPE_CHECKING:
    from host_sim.inspecting.wheel import WheelRequest, WheelResult


def inspect_wheel_command(request: "WheelRequest", as_json: bool) -> None:
    """Inspect a wheel sensor and print the findings; exit code 1 if it is not shown to be fit."""
    from host_sim.inspecting.wheel import inspect_wheel_capture

    with progress_bar("reading") as done:
        result = inspect_wheel_capture(request, done)
    if as_json:
        print_json(result.as_json)
    else:
        _print(result, request)
    if not result.fit:
        raise typer.Exit(1)


def _print(result: "WheelResult", request: "WheelRequest") -> None:
    found = result.found
    rows = [
        ("capture", f"{spoken(request.capture_path)}, {result.form}"),
        ("pulses per revolution", found.turn.pulses.said(str(found.turn.pulses.value))),
        ("missing magnets", str(found.turn.missing)),
    ]
    if found.circumference_m is not None:
        rows.append(("circumference", f"{found.circumference_m:.3f} m from the push"))
    rows.append(
        (
            "pulses",
            f"{len(found.pulses.rise_s)}, {found.lost_count} lost, {len(found.pulses.double_s)} doubled",
        )
    )
    for band in found.bands:
        name = f"{band.least_km_per_h:.0f} to {band.most_km_per_h:.0f} km/h"
        told = f"{band.pulses} pulses, {band.lost} lost, {band.doubled} doubled, noise {band.noise}"
        rows.append((name, told))
    noise = f"{found.noise.per_s:.2f} a second"
    if found.noise.driving_per_s is not None and found.noise.idle_per_s is not None:
        noise += f", driving {found.noise.driving_per_s:.2f}, not driving {found.noise.idle_per_s:.2f}"
    rows.append(("noise", noise))
    if request.write:
        rows.append(changed_row(result.changed))
    print_findings(rows, result.files, result.advice, result.why)
