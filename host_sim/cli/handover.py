"""`treadle handover` on the command line: its options, and what it says."""

import json
from pathlib import Path
from typing import Annotated

import typer

from host_sim.cli.options import DEFAULT_BIKE, BikeArgument, ForceOption, JsonOption
from host_sim.commands.handover import HandoverRequest, HandoverResult, handover
from host_sim.handover import records
from host_sim.textfile import spoken

FIT = {True: "fit", False: "not fit; the sheet says so and why", None: "captured; the report says no more"}


def handover_command(
    bike: BikeArgument = DEFAULT_BIKE,
    verify: Annotated[
        Path | None, typer.Option(metavar="REPORT", help="verify.json of this bike, from treadle verify.")
    ] = None,
    capture: Annotated[
        Path | None, typer.Option(metavar="REPORT", help="inspection.json of its sensor, by treadle inspect.")
    ] = None,
    manifest: Annotated[
        Path | None,
        typer.Option(metavar="FILE", help="manifest.json of what was flashed, from treadle bundle."),
    ] = None,
    record: Annotated[
        list[Path] | None,
        typer.Option(metavar="FILE", help="Record of calibrate or commission; may be given again."),
    ] = None,
    out: Annotated[
        Path | None, typer.Option(metavar="FILE", help="The page. Default: a new handover-BIKE.html here.")
    ] = None,
    pdf: Annotated[bool, typer.Option("--pdf", help="Print it as PDF too, if a browser is there.")] = False,
    force: ForceOption = False,
    as_json: JsonOption = False,
) -> None:
    """Write the page that a workshop gives to the bicycle's owner.

    One HTML file that loads nothing and prints on two sides of A4: what the rider will feel, how to ride it
    first, cautions, what failed or was not shown, what to do when something feels wrong, settings, who
    measured and tried it, signatures.

    Example: `treadle handover tandem --verify treadle-verify/verify.json --pdf`
    """
    result = handover(HandoverRequest(bike, verify, capture, manifest, out, pdf, force, record or []))
    if as_json:
        print(json.dumps(result.as_json(), allow_nan=False))
    else:
        _print_handover(result)


def _print_handover(result: HandoverResult) -> None:
    rules = len(result.reports.rules)
    held = rules - len(result.failing) - len(result.untested)
    told = f"{held} of {rules} held" if rules else "no report given; the sheet says so"
    if result.failing:
        told += f"; the sheet says that these do not: {', '.join(result.failing)}"
    if result.untested:
        told += f"; not tested, no ride got there: {', '.join(result.untested)}"
    sensor = result.reports.sensor
    fit = "not captured" if sensor is None else FIT[sensor.fit]
    help_s = result.ride.help_after_s
    worst_m = result.run_on_worst_m
    worst = "the worst case was not measured" if worst_m is None else f"worst case {worst_m:.1f} m"
    rows = (
        ("bike", spoken(result.bike.name)),
        ("rules", told),
        ("sensor", fit),
        (
            "records",
            f"\n{'':<12}".join(spoken(records.told(one)) for one in result.reports.records) or "none",
        ),
        ("first help", "none" if help_s is None else f"felt {help_s:.2f} s after the pedals start"),
        ("run-on", f"{result.ride.run_on_s:.3f} s, {result.ride.run_on_m:.2f} m in one easy ride; {worst}"),
        ("files", f"\n{'':<12}".join(spoken(path) for path in result.files)),
    )
    for name, value in rows:
        print(f"{name:<12}{value}")
