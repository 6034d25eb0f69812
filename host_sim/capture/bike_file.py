"""Writes findings into a bike file; comments and everything else stay as they are.

Only certain findings are written. The new file is written next to the old one and loaded by the bike model;
only if that succeeds does it replace the old one.
"""

import os
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import tomlkit
from tomlkit.exceptions import TOMLKitError

from host_sim.bikes.guess_marks import without_guess_marks
from host_sim.bikes.load import load_bike
from host_sim.bikes.model import Bike
from host_sim.capture.findings import Inspection
from host_sim.errors import RequestError
from host_sim.textfile import TOML_BYTES_MAX, read_text, spoken

ERROR_LEAST_DEG = 0.3  # Smaller errors of place are not written: gluing by hand is less accurate.
PHASE_LIMITS_DEG = (20.0, 160.0)
# Keys of [settings] that override sections: that of the pedal sensor, and those of the wheel.
OVERRULING = ("sensor_kind", "lead", "forward_duty_high", "pulses_per_rev")
WHEEL_OVERRULING = ("wheel_circumference_mm", "wheel_pulses_per_rev")


def changes_for(inspection: Inspection, bike: Bike) -> dict[str, Any]:
    """Return the keys of [pedal_sensor] that follow from certain findings; None removes a key."""
    changes: dict[str, Any] = {}
    if inspection.kind.sure:
        changes["kind"] = inspection.kind.value
    if inspection.pulses.sure:
        changes["pulses_per_rev"] = inspection.pulses.value
    if inspection.lead.sure:
        right = bike.pedal_sensor.side == "right"
        other = "B" if inspection.lead.value == "A" else "A"
        changes["leads_on_the_right"] = inspection.lead.value if right else other
    shares = [
        finding.value for finding in inspection.duty.values() if finding.sure and finding.value is not None
    ]
    if shares:
        changes["duty_percent"] = round(100.0 * sum(shares) / len(shares), 1)
    if inspection.phase_deg.sure and inspection.phase_deg.value is not None:
        changes["phase_deg"] = round(
            min(max(inspection.phase_deg.value, PHASE_LIMITS_DEG[0]), PHASE_LIMITS_DEG[1]), 1
        )
    changes.update(_places(inspection))
    old = bike.pedal_sensor
    return {key: value for key, value in changes.items() if value != getattr(old, key)}


def _places(inspection: Inspection) -> dict[str, Any]:
    """Return the keys for the magnets' places, if all were seen and the legs' variation was removed."""
    ring = inspection.ring
    if ring is None or not inspection.pulses.sure or not inspection.phase_deg.sure:
        return {}
    if ring.missing or inspection.changes:
        return {}
    if ring.longest_error_deg < ERROR_LEAST_DEG:
        return {"angle_errors_deg": None, "uneven_deg": None}
    errors = [round(magnet.error_deg, 2) + 0.0 for magnet in ring.magnets]
    return {"angle_errors_deg": errors, "uneven_deg": None}


def bike_with(path: Path, changes: dict[str, Any], overruling: tuple[str, ...] = OVERRULING) -> Bike:
    """Return the bike that `path` would give after the changes; the file stays as it is.

    Keys are those of [pedal_sensor], or name their section as in `wheel_sensor.pulses_per_rev`. RequestError
    if the changed file is not a valid bike file, or if [settings] has one of `overruling`.
    """
    with _beside(path, changes, overruling) as (bike, _):
        return bike


def write_changes(path: Path, changes: dict[str, Any], overruling: tuple[str, ...] = OVERRULING) -> Bike:
    """Change `path`, as `bike_with` does, and return the new bike; RequestError leaves the file alone."""
    with _beside(path, changes, overruling) as (bike, temporary):
        try:
            temporary.chmod(path.stat().st_mode & 0o777)
            os.replace(temporary, path)
        except OSError as error:
            raise RequestError(f"{spoken(path)} can't be written: {error.strerror or error}") from None
    return bike


@contextmanager
def _beside(path: Path, changes: dict[str, Any], overruling: tuple[str, ...]) -> Iterator[tuple[Bike, Path]]:
    """Write the changed file next to `path` and load it; remove it afterwards unless it was moved."""
    document = _changed(path, changes)
    found = {name if "." in name else f"pedal_sensor.{name}" for name in changes}
    try:
        handle, name = tempfile.mkstemp(prefix=f".{path.stem}-unfinished-", suffix=".toml", dir=path.parent)
    except OSError as error:
        raise RequestError(f"{spoken(path.parent)} can't be written: {error.strerror or error}") from None
    temporary = Path(name)
    try:
        with os.fdopen(handle, "w", encoding="utf-8", newline="") as file:
            file.write(without_guess_marks(tomlkit.dumps(document), found))
        yield _load(temporary, path, overruling), temporary
    finally:
        temporary.unlink(missing_ok=True)


def _changed(path: Path, changes: dict[str, Any]) -> tomlkit.TOMLDocument:
    try:
        document = tomlkit.parse(read_text(path, TOML_BYTES_MAX))
    except TOMLKitError as error:
        raise RequestError(f"{spoken(path.name)}: this is not TOML: {error}") from None
    for name, value in changes.items():
        section, _, key = name.rpartition(".")
        table: Any = document[section or "pedal_sensor"]
        if value is None:
            table.pop(key, None)
            continue
        old = table.get(key)
        table[key] = value
        comment = getattr(getattr(old, "trivia", None), "comment", "")
        if comment:
            # The comment was about the old value, so it becomes part of a new one.
            table[key].comment(f"by treadle inspect; before: {_shown(old)} ({comment.lstrip('# ').strip()})")
    return document


def _shown(value: Any) -> str:
    return str(value.unwrap() if hasattr(value, "unwrap") else value).replace("\n", " ")


def _load(temporary: Path, path: Path, overruling: tuple[str, ...]) -> Bike:
    """Load the new file as a bike file; refusals name the user's file instead."""
    try:
        bike = load_bike(temporary)
    except RequestError as error:
        reason = str(error).replace(temporary.name, path.name)
        raise RequestError(
            f"with the findings the file would be invalid, so it stays unchanged: {reason}"
        ) from None
    for key in overruling:
        if key in bike.settings:
            raise RequestError(f"{spoken(path.name)}: settings.{key} overrides the finding, remove it first")
    return bike
