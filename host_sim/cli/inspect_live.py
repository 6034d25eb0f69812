"""`treadle inspect --live` on the command line: the next instruction, the ring so far, and the findings."""

import contextlib
import json
from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING

import typer

from firmware.settings import TWO_CHANNELS
from host_sim.cli.live_ring import LiveRing, tell
from host_sim.cli.options import DEFAULT_BIKE
from host_sim.cli.printing import print_rows
from host_sim.cli.saying import complain
from host_sim.errors import RequestError
from host_sim.outputs import refuse_missing_folder
from host_sim.textfile import spoken

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
    from host_sim.watching.asking import open_chosen, require_link

    if plant is not None and plant not in PLANTS:
        raise RequestError(f'--plant is "{plant[:40]}", allowed is {", ".join(PLANTS)}')
    if not desk and (plant is not None or hurry or bike is not None):
        raise RequestError("with --live, --plant, --hurry and --bike are allowed only with --desk")
    if desk and port is not None:
        raise RequestError("--port and --desk are both given, only one of them is allowed")
    if out is not None:
        refuse_missing_folder(out, "--out")
    require_link()
    from host_sim.boardlink.port_choice import NoBoard
    from host_sim.inspecting.live import inspect_live, items_of
    from host_sim.watching.workshop import BoardTrouble, Workshop

    try:
        with _port(port, desk, bike, plant, hurry) as name:
            _, opened = open_chosen(name)
            with contextlib.closing(opened):
                settings = Workshop(opened).settings()
                tell(CAUTION)
                one_channel = settings.get("sensor_kind") != TWO_CHANNELS
                with LiveRing(one_channel) as ring:
                    result = inspect_live(items_of(opened, desk), settings, out, force, ring.show)
    except (BoardTrouble, NoBoard) as error:
        complain(str(error), 1)
        raise typer.Exit(1) from None
    if as_json:
        print(json.dumps(result.as_json, allow_nan=False))
    else:
        _print(result)
    if not result.fit:
        raise typer.Exit(1)


@contextlib.contextmanager
def _port(
    port: str | None, desk: bool, bike: str | None, plant: str | None, hurry: bool
) -> Iterator[str | None]:
    from host_sim.boardlink.desk import desk_port

    if not desk:
        yield port
        return
    words = ("--guided", *([PLANTS[plant]] if plant is not None else []))
    with desk_port(bike or DEFAULT_BIKE, None, hurry, words) as name:
        yield name


def _print(result: "LiveResult") -> None:
    from host_sim.capture.live.ring_text import ring_text

    found = result.inspection
    pulses = found.pulses
    rows = [
        ("pedal sensor", found.kind.said(str(found.kind.value))),
        ("pulses per revolution", pulses.said(str(pulses.value))),
    ]
    if found.kind.value == "two channels":
        rows.append(("lead", found.lead.said(f"{found.lead.value} leads")))
    arm = result.guided.arm
    if arm is not None:
        rows.append(
            (
                "magnet 1",
                f"{arm.degrees:.0f}° (within {arm.within_deg:.0f}°) after the left arm straight down",
            )
        )
    for name, numbers in (("missing magnets", found.missing), ("weak magnets", found.weak)):
        rows.append((name, numbers.said(", ".join(map(str, numbers.value or [])) or "none")))
    rows.append(("edges", f"{len(result.guide.edges)}, lost {result.guide.losses} times"))
    if result.support is not None:
        rows.append(
            ("smallest engage, release", f"{result.support.engage_rpm}, {result.support.release_rpm} rpm")
        )
    settings = "\n".join(f"{name} = {value}" for name, value in result.settings.items())
    rows.append(("matching settings", settings or "none"))
    rows.append(("files", "\n".join(spoken(path) for path in result.files)))
    if pulses.sure and pulses.value:
        degrees = arm.degrees if arm is not None else None
        print(ring_text(pulses.value, found.missing.value or [], found.weak.value or [], degrees))
    print_rows(rows)
    for sentence in result.advice:
        print(f"* {sentence}")
    print(f"not shown to be fit: {'; '.join(result.why)}" if result.why else "fit for use")
