"""What requests of `treadle inspect` have in common: channel names, the bike file, the written result."""

import json
from pathlib import Path
from typing import Any

from host_sim.bikes.load import BIKES
from host_sim.errors import RequestError
from host_sim.outputs import Delivery
from host_sim.textfile import find_file

FIGURE, FINDINGS = "inspection.png", "inspection.json"


def channel_names(channels: str | None) -> tuple[str, ...] | None:
    """Return the names in `--channels`, separated by commas; None if it is not given."""
    return tuple(name.strip() for name in channels.split(",")) if channels is not None else None


def path_of_bike(bike: str | None, write: bool) -> Path | None:
    """Return the file of `--bike`, None if it is not given; RequestError if `write` is not possible."""
    if write and bike is None:
        raise RequestError("--write is given without --bike, allowed is --bike FILE --write")
    path = find_file(bike, BIKES, (".toml",), "bike") if bike is not None else None
    if write and path is not None and path.resolve().parent == BIKES:
        raise RequestError(f"--bike {path.stem} is an example, allowed with --write is a copy of your own")
    return path


def write_findings(delivery: Delivery, findings: dict[str, Any]) -> None:
    """Write the findings as JSON, among the files of `delivery`."""
    text = json.dumps(findings, allow_nan=False, indent=2) + "\n"
    delivery.place(FINDINGS).write_text(text, encoding="utf-8")
