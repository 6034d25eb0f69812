"""`treadle handover`: one page that explains a bicycle to its owner."""

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Annotated, Any

import typer

from host_sim.bikes.load import load_bike
from host_sim.bikes.model import Bike
from host_sim.boardlink.manifest import program_version, sha256
from host_sim.cli.options import DEFAULT_BIKE, BikeArgument, ForceOption, JsonOption
from host_sim.cli.printing import files_row, print_json, print_rows, rounded
from host_sim.commissioning.record import FAILED, NOT_REACHED, SKIPPED
from host_sim.errors import RequestError
from host_sim.handover import records
from host_sim.handover.browser import find_browser, print_pdf
from host_sim.handover.first_ride import FirstRide, first_ride
from host_sim.handover.records import newest_commission, read_records, told
from host_sim.handover.reports import REPORT_BYTES_MAX, read_inspect, read_manifest, read_verify
from host_sim.handover.sheet import Reports, render_sheet
from host_sim.outputs import FOLDERS_TRIED, Delivery, refuse_missing_folder
from host_sim.textfile import read_bytes, spoken

FIT = {
    True: "fit",
    False: "not fit; the sheet says so and why",
    None: "captured; the report gives no verdict",
}


class HandoverRequest:
    """The bike, the reports of other commands, the output file, and whether to make a PDF."""

    def __init__(
        self,
        bike: str,
        verify: Path | None = None,
        capture: Path | None = None,
        manifest: Path | None = None,
        out: Path | None = None,
        pdf: bool = False,
        force: bool = False,
        records: Sequence[Path] = (),
    ) -> None:
        """Check and load everything before any ride; RequestError says what is wrong."""
        self.bike = load_bike(bike)
        if out is not None and out.suffix.lower() not in (".html", ".htm"):
            raise RequestError(f"--out is {spoken(out)}, allowed is a file name that ends with .html")
        self.reports = Reports(
            rules=() if verify is None else read_verify(verify, self.bike),
            sensor=None if capture is None else read_inspect(capture, self.bike),
            manifest=None if manifest is None else read_manifest(manifest, self.bike),
            manifest_sha256="" if manifest is None else sha256(read_bytes(manifest, REPORT_BYTES_MAX)),
            records=read_records(records, self.bike),
        )
        self.out = out or _fresh_file(f"handover-{self.bike.name}", ".html")
        self.browser = find_browser() if pdf else None
        self.force = force


@dataclass(frozen=True, slots=True)
class HandoverResult:
    """The measured numbers, the contents of the reports, and the files."""

    bike: Bike
    reports: Reports
    ride: FirstRide
    files: list[Path]

    @property
    def failing(self) -> list[str]:
        """The rules of the report that did not hold."""
        return [row.rule for row in self.reports.rules if row.failed]

    @property
    def untested(self) -> list[str]:
        """The rules of the report that no simulated ride tested."""
        return [row.rule for row in self.reports.rules if row.untested]

    def stand(self, *outcomes: str) -> list[str] | None:
        """Return the items with these outcomes in the last first-power checklist; None without a record."""
        tried = newest_commission(self.reports.records)
        return None if tried is None else tried.named(*outcomes)

    @property
    def run_on_worst_m(self) -> float | None:
        """The longest distance to the end of help in the report, in m; None if no ride showed it."""
        return next((row.measured for row in self.reports.rules if row.rule == "cut-off distance"), None)

    def as_json(self) -> dict[str, Any]:
        """Return the numbers on the sheet under their documented keys."""
        rules = self.reports.rules
        ride = self.ride
        return {
            "bike": self.bike.name,
            "rules": len(rules) if rules else None,
            "rules_failing": self.failing if rules else None,
            "rules_untested": self.untested if rules else None,
            "sensor_captured": self.reports.sensor is not None,
            "sensor_fit": None if self.reports.sensor is None else self.reports.sensor.fit,
            "manifest_sha256": self.reports.manifest_sha256 or None,
            "records": [told(record) for record in self.reports.records],
            "stand_failed": self.stand(FAILED),
            "stand_not_tried": self.stand(SKIPPED, NOT_REACHED),
            "help_after_s": rounded(ride.help_after_s, 3),
            "help_after_turns": rounded(ride.help_after_turns, 3),
            "help_w": rounded(ride.help_w, 3),
            "run_on_s": rounded(ride.run_on_s, 3),
            "run_on_m": rounded(ride.run_on_m, 3),
            "run_on_worst_m": rounded(self.run_on_worst_m, 3),
            "files": [str(path) for path in self.files],
        }


def handover(request: HandoverRequest) -> HandoverResult:
    """Ride the first ride, write the page, make a PDF if requested, and return the contents."""
    page, printed = request.out.name, request.out.with_suffix(".pdf").name
    refuse_missing_folder(request.out, "--out")
    names = (page,) if request.browser is None else (page, printed)
    with Delivery(request.out.parent, names, request.force) as delivery:
        ride = first_ride(request.bike)
        text = render_sheet(request.bike, ride, request.reports, program_version())
        delivery.place(page).write_text(text, encoding="utf-8")
        if request.browser is not None:
            print_pdf(request.browser, delivery.place(page), delivery.place(printed))
        return HandoverResult(request.bike, request.reports, ride, delivery.deliver())


def _fresh_file(name: str, suffix: str) -> Path:
    """Return `name` with `suffix`, or `name-2` and so on: the first that does not exist here yet."""
    for number in range(1, FOLDERS_TRIED):
        path = Path(f"{name}{suffix}" if number == 1 else f"{name}-{number}{suffix}")
        if not path.exists() and not path.with_suffix(".pdf").exists():
            return path
    raise RequestError(
        f"{name}{suffix} and {FOLDERS_TRIED - 2} more exist already, allowed is --out with a file"
    )


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
        Path | None,
        typer.Option(metavar="FILE", help="File for the page. Default: a new handover-BIKE.html here."),
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
        print_json(result.as_json())
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
        ("records", "\n".join(spoken(records.told(one)) for one in result.reports.records) or "none"),
        ("first help", "none" if help_s is None else f"felt {help_s:.2f} s after the pedals start"),
        ("run-on", f"{result.ride.run_on_s:.3f} s, {result.ride.run_on_m:.2f} m in one easy ride; {worst}"),
        files_row(result.files),
    )
    print_rows(rows)
