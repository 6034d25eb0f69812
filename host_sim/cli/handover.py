"""`treadle handover` on the command line: its options and its output."""

import json
from pathlib import Path
from typing import Annotated

import typer

from host_sim.cli.options import DEFAULT_BIKE, BikeArgument, ForceOption, JsonOption
from host_sim.commands.handover import HandoverRequest, HandoverResult, handover
from host_sim.handover import records
from host_sim.textfile import spoken

FIT = {
    True: "fit",
    False: "not fit; the sheet says so and why",
    None: "captured; the report gives no verdict",
}


def handover_command(
    bike: BikeArgument = DEFAULT_BIKE,
    verify: Annotated[
        Path | None, typer.Option(metavar="REPORT", help="verify.json of this bike, from treadle verify.")
    ] = None,
    capture: Annotated[
        Path | None,
        typer.Option(metavar="REPORT", help="inspection.json of its sensor, from treadle inspect."),
    ] = None,
    manifest: Annotated[
        Path | None,
        typer.Option(metavar="FILE", help="manifest.json of the flashed files, from treadle bundle."),
    ] = None,
    record: Annotated[
        list[Path] | None,
        typer.Option(metavar="FILE", help="Record of calibrate or commission; repeatable."),
    ] = None,
    out: Annotated[
        Path | None, typer.Option(metavar="FILE", help="The page. Default: a new handover-BIKE.html here.")
    ] = None,
    pdf: Annotated[bool, typer.Option("--pdf", help="Also write a PDF; needs a browser.")] = False,
    force: ForceOption = False,
    as_json: JsonOption = False,
) -> None:
    """Write the page that a workshop gives to the bicycle's owner.

    It is one HTML file that loads nothing else and prints on two sides of A4: cautions, rules that failed or
    were not shown, what the rider will feel, the first ride, what to do when something feels wrong, settings,
    who measured and tried the bicycle, signatures.

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
        told += f"; failed, as the sheet says: {', '.join(result.failing)}"
    if result.untested:
        told += f"; not shown, no ride tested them: {', '.join(result.untested)}"
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
