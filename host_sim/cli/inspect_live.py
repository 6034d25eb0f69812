"""`treadle inspect --live` on the command line: the next instruction, the ring so far, and the findings."""

from pathlib import Path
from typing import TYPE_CHECKING

import typer

from firmware.settings import TWO_CHANNELS
from host_sim.cli.at_the_board import opened_port
from host_sim.cli.inspect_rows import kind_rows, magnet_rows, print_findings, smallest_row
from host_sim.cli.live_ring import LiveRing, tell
from host_sim.cli.options import DEFAULT_BIKE
from host_sim.cli.printing import print_json
from host_sim.errors import RequestError
from host_sim.outputs import refuse_missing_folder
from host_sim.watching.asking import require_link

if TYPE_CHECKING:
    from host_sim.inspecting.live import LiveResult

CAUTION = (
    "lift the driven wheel, disconnect the motor's battery, and keep hands, hair and cables clear; then "
    "turn the left crank arm straight down"
)
PLANTS = {
    "missing-magnet": "--magnet-missing",
    "swapped-wires": "--wires=swapped",
    "dead-a": "--wires=dead-a",
    "dead-b": "--wires=dead-b",
}


def inspect_live_command(
    port: str | None,
    desk: bool,
    bike: str | None,
    plant: str | None,
    hurry: bool,
    out: Path | None,
    force: bool,
    as_json: bool,
) -> None:
    """Run a guided capture and print the findings; exit code 1 if the sensor is not shown to be fit."""
    if plant is not None and plant not in PLANTS:
        raise RequestError(f'--plant is "{plant[:40]}", allowed is {", ".join(PLANTS)}')
    if not desk and (plant is not None or hurry or bike is not None):
        raise RequestError("with --live, --plant, --hurry and --bike are allowed only with --desk")
    if out is not None:
        refuse_missing_folder(out, "--out")
    require_link()
    # Imported here: the numerical libraries take longer to load than all other commands together.
    from host_sim.inspecting.live import inspect_live, items_of
    from host_sim.watching.workshop import Workshop

    words = ("--guided", *([] if plant is None else [PLANTS[plant]]))
    with opened_port(port, desk, bike or DEFAULT_BIKE, None, hurry, words) as opened:
        settings = Workshop(opened).settings()
        tell(CAUTION)
        with LiveRing(settings.get("sensor_kind") != TWO_CHANNELS) as ring:
            result = inspect_live(items_of(opened, desk), settings, out, force, ring.show)
    if as_json:
        print_json(result.as_json)
    else:
        _print(result)
    if not result.fit:
        raise typer.Exit(1)


def _print(result: "LiveResult") -> None:
    from host_sim.capture.live.ring_text import ring_text

    found = result.inspection
    rows = kind_rows(found)
    arm = result.guided.arm
    if arm is not None:
        rows.append(
            (
                "magnet 1",
                f"{arm.degrees:.0f}° (within {arm.within_deg:.0f}°) after the left arm straight down",
            )
        )
    rows += magnet_rows(found)
    rows.append(("edges", f"{len(result.guide.edges)}, lost {result.guide.losses} times"))
    if result.support is not None:
        rows.append(smallest_row(result.support))
    settings = "\n".join(f"{name} = {value}" for name, value in result.settings.items())
    rows.append(("matching settings", settings or "none"))
    if found.pulses.sure and found.pulses.value:
        degrees = arm.degrees if arm is not None else None
        print(ring_text(found.pulses.value, found.missing.value or [], found.weak.value or [], degrees))
    print_findings(rows, result.files, result.advice, result.why, "fit for use")
