"""Reads the reports of other commands for the sheet; refuses a report of another bike.

A sheet that shows the rules of one bicycle and the settings of another is worse than none. So the limits in
a report of `treadle verify` must equal the limits of this bike, and a manifest must list its settings file.
"""

import json
from collections.abc import Sequence
from pathlib import Path
from typing import Annotated, Any, TypeVar

from pydantic import BaseModel, ConfigDict, Field, TypeAdapter, ValidationError

from host_sim.bikes.model import Bike
from host_sim.boardlink.bundle import settings_file
from host_sim.boardlink.manifest import sha256
from host_sim.errors import RequestError
from host_sim.rules.catalogue import RULES
from host_sim.textfile import read_text, spoken

REPORT_BYTES_MAX = 5_000_000
_LIMIT_ROUNDING = 1e-4  # A report keeps four decimals.

Text = Annotated[str, Field(max_length=500)]
Read = TypeVar("Read")


class Part(BaseModel):
    """Something in a report: the keys that the sheet needs, read strictly; other keys are ignored."""

    model_config = ConfigDict(strict=True, allow_inf_nan=False, frozen=True)


class RuleHeld(Part):
    """One rule of a report of `treadle verify`; `holds` is None if no ride tested it."""

    rule: Text
    holds: bool | None
    measured: float | None
    limit: float | None
    unit: Text
    source: Text = ""
    interrupted: bool = False
    controller: Text | None = None

    @property
    def untested(self) -> bool:
        """Whether no simulated ride tested this rule. In this case older reports have `holds` = False."""
        return self.holds is None or (self.measured is None and not self.holds)

    @property
    def failed(self) -> bool:
        """Whether a simulated ride broke this rule."""
        return not self.holds and not self.untested

    @property
    def sentence(self) -> str:
        """What the rule asks for."""
        return next((rule.sentence for rule in RULES if rule.name == self.rule), "")


class CadenceSeen(Part):
    """The median cadence of a capture, in rpm."""

    median: float | None = None


class SensorSeen(Part):
    """A report of `treadle inspect`; None means unknown. An older report has no `fit`."""

    fit: bool | None = None
    why: Annotated[list[Text], Field(max_length=50)] = []
    channels: int | None = None
    lead: Text | None = None
    pulses_per_rev: int | None = None
    missing: Any = None
    weak: Any = None
    noise_per_s: float | None = None
    cadence_rpm: CadenceSeen | None = None
    advice: Annotated[list[Text], Field(max_length=50)]


class FileFlashed(Part):
    """One file of a bundle."""

    file: Text
    sha256: Annotated[str, Field(pattern="^[0-9a-f]{64}$")]


class Manifest(Part):
    """The manifest of a bundle."""

    heading: Annotated[str, Field(pattern="^treadle bundle")]
    treadle: Text
    board: Text
    bike: Text
    place: Text
    files: Annotated[list[FileFlashed], Field(min_length=1, max_length=1000)]


def read_verify(path: Path, bike: Bike) -> Sequence[RuleHeld]:
    """Return the rules of a verify.json; RequestError if it is something else, or of another bike."""
    rules = read_report(path, TypeAdapter(list[RuleHeld]), "a report of `treadle verify`, its verify.json")
    if not rules:
        raise RequestError(f"{spoken(path.name)} holds no rule, allowed is the report of a finished verify")
    if any(row.interrupted for row in rules):
        raise RequestError(
            f"{spoken(path.name)} is of an interrupted verify, allowed is the report of a finished one: "
            "run `treadle verify` again"
        )
    if any(row.controller is not None for row in rules):
        raise RequestError(
            f"{spoken(path.name)} is of another controller ({rules[0].controller}), allowed is the report of "
            "the firmware itself: run `treadle verify` without --controller"
        )
    limits = {rule.name: rule.limit(bike) for rule in RULES}
    for row in rules:
        if row.rule not in limits:
            raise RequestError(f"{spoken(path.name)}: no rule is called {row.rule[:60]!r} in this version")
        _check_limit(path, bike, row, limits[row.rule])
    return rules


def _check_limit(path: Path, bike: Bike, row: RuleHeld, limit: float | None) -> None:
    told = "none" if row.limit is None else f"{row.limit:g} {row.unit}"
    if limit is None:
        raise RequestError(
            f'{spoken(path.name)}: "{row.rule}" does not apply to {bike.name}; this is another bike\'s report'
        )
    if row.limit is None or abs(row.limit - limit) > _LIMIT_ROUNDING * max(1.0, abs(limit)):
        raise RequestError(
            f'{spoken(path.name)}: the limit of "{row.rule}" is {told} there and {limit:.4g} for {bike.name} '
            "as it is now; allowed is the report of this bike with these settings: run `treadle verify` again"
        )


def read_inspect(path: Path, bike: Bike) -> SensorSeen:
    """Return an inspection.json; RequestError if it is something else, or of another ring than the bike's."""
    seen = read_report(path, TypeAdapter(SensorSeen), "a report of `treadle inspect`, its inspection.json")
    sensor = bike.pedal_sensor
    channels = 2 if sensor.kind == "two channels" else 1
    pairs = (
        ("channels", seen.channels, channels),
        ("pulses_per_rev", seen.pulses_per_rev, sensor.pulses_per_rev),
    )
    for name, captured, stated in pairs:
        if captured is not None and captured != stated:
            raise RequestError(
                f"{spoken(path.name)}: {name} is {captured} there and {stated} for {bike.name}; allowed is "
                "the capture of its sensor: `treadle inspect CAPTURE --bike FILE --write` puts it right"
            )
    return seen


def read_manifest(path: Path, bike: Bike) -> Manifest:
    """Return a manifest.json; RequestError if it is something else, or was made with other settings."""
    manifest = read_report(path, TypeAdapter(Manifest), "the manifest.json of `treadle bundle`")
    if sha256(settings_file(bike)) not in [file.sha256 for file in manifest.files]:
        raise RequestError(
            f"{spoken(path.name)} was made with other settings than {bike.name} has now, "
            "allowed is the manifest of this bike with these settings: run `treadle bundle` again"
        )
    return manifest


def read_report(path: Path, kind: TypeAdapter[Read], allowed: str) -> Read:
    """Return a JSON file as `kind`, or raise RequestError that says where it is wrong."""
    text = read_text(path, REPORT_BYTES_MAX)
    try:
        json.loads(text, parse_constant=_no_number)
        return kind.validate_json(text)
    except ValidationError as error:
        first = error.errors(include_url=False)[0]
        where = ".".join(str(part)[:40] for part in first["loc"]) or "its content"
        raise RequestError(f"{spoken(path.name)}: {where} does not fit, allowed is {allowed}") from None
    except (ValueError, RecursionError):
        raise RequestError(f"{spoken(path.name)}: this is not JSON, allowed is {allowed}") from None


def _no_number(word: str) -> float:
    raise ValueError(word)
