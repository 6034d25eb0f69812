"""Records of `treadle calibrate` and `treadle commission` on the sheet: who measured what, and when.

Validated strictly, like reports. A record is refused if it is of another bicycle, of other settings than the
bicycle has now, of the desk board, or contradicts itself: the sheet would claim something that nobody did.
"""

from collections.abc import Sequence
from datetime import datetime
from pathlib import Path
from typing import Annotated, Literal

from pydantic import Field, TypeAdapter

from host_sim.bikes.model import Bike
from host_sim.commissioning.record import (
    COMMISSION,
    CONFIRMED,
    FAILED,
    NOT_APPLICABLE,
    NOT_REACHED,
    SKIPPED,
    TICKED,
)
from host_sim.errors import RequestError
from host_sim.handover.reports import Part, Text, read_report
from host_sim.textfile import spoken

DESK = "desk"
BY_SHOWN = 60  # Characters of a name; a longer one is cut on paper.
DONE = (TICKED, CONFIRMED)

MEASURED = {
    "throttle rest": "throttle let go", "throttle full": "throttle fully open",
    "selector low": "selector low", "selector high": "selector high",
    "selector positions": "selector positions", "brakes": "brakes", "battery": "battery voltage",
    "shunt": "battery current", "wheel": "distance per wheel turn",
}  # fmt: skip
"""What a step of a calibration measures, in the owner's words."""

TRIED = {
    "off the ground": "The driven wheel was off the ground while the motor was tried.",
    "settings": "The control board has the settings of this bicycle, and no fault.",
    "loop time": "The control board runs fast enough.",
    "forward": "Pedalling forward is seen as forward.",
    "help": "The motor helps when you pedal.",
    "brake cuts": "Pulling a brake ends the help at once.",
    "backward": "Pedalling backward gives no help.",
    "each brake": "Each brake lever by itself ends the help.",
    "fault stays": "After a fault the motor stays off until somebody clears it.",
    "expiry": "With the control board stopped the motor gets no signal.",
    "restart": "After switching on the motor does not drive while pedals and levers are at rest.",
}
"""What an item of the first-power checklist shows, in the owner's words."""


class Item(Part):
    """One step or item of a record."""

    item: Text
    sentence: Text
    outcome: Literal["ticked", "confirmed", "failed", "skipped", "not applicable", "not reached"]
    seen: Text
    at: Text


class Record(Part):
    """A record; `begun` and `ended` are UTC in ISO 8601. Calibrations have no `passed`."""

    heading: Literal["treadle calibration 1", "treadle commission 1"]
    bike: Text
    board: Text
    by: Annotated[Text, Field(min_length=1)]
    treadle: Text
    begun: Text
    ended: Text
    settings: dict[str, int]
    passed: bool | None = None
    items: Annotated[list[Item], Field(min_length=1, max_length=50)]

    @property
    def commission(self) -> bool:
        """Whether this is the record of a first-power checklist."""
        return self.heading == COMMISSION

    @property
    def day(self) -> str:
        """When it began, as people write it."""
        at = datetime.fromisoformat(self.begun)
        return f"{at.day} {at:%B} {at.year}"

    @property
    def who(self) -> str:
        """Who did it."""
        return self.by if len(self.by) <= BY_SHOWN else self.by[: BY_SHOWN - 1] + "…"

    def named(self, *outcomes: str) -> list[str]:
        """Return the items with these outcomes in the owner's words."""
        words = TRIED if self.commission else MEASURED
        return [words[item.item] for item in self.items if item.outcome in outcomes]


def read_records(paths: Sequence[Path], bike: Bike) -> tuple[Record, ...]:
    """Return the records in the order in which they were made; RequestError if one is not of this bike."""
    records = [_read_record(path, bike) for path in paths]
    return tuple(sorted(records, key=lambda record: _time(record.begun)))


def newest_commission(records: Sequence[Record]) -> Record | None:
    """Return the latest record of a first-power checklist; an older one may list faults fixed since."""
    return next((record for record in reversed(records) if record.commission), None)


def _read_record(path: Path, bike: Bike) -> Record:
    allowed = "a record of `treadle calibrate` or `treadle commission`"
    record = read_report(path, TypeAdapter(Record), allowed)
    name = spoken(path.name)
    if record.bike != bike.name:
        raise RequestError(f"{name} is a record of {record.bike[:60]}, allowed is one of {bike.name}")
    if record.board == DESK:
        raise RequestError(
            f"{name} was made with the desk board, which has no bicycle, allowed is a record of a real board"
        )
    _check_settings(name, record, bike)
    _check_items(name, record)
    return record


def _check_settings(name: str, record: Record, bike: Bike) -> None:
    """Compare all settings of a checklist, or those that a calibration changed, with the bike's own."""
    now = bike.firmware_settings.as_dict()
    for setting in now if record.commission else record.settings:
        there, here = record.settings.get(setting, "missing"), now.get(setting, "unknown")
        if there != here:
            raise RequestError(
                f"{name}: {setting[:60]} is {there} there and {here} for {bike.name} as it is now; allowed "
                f"is a record with these settings: run `treadle {_command(record)}` again"
            )


def _check_items(name: str, record: Record) -> None:
    """Refuse a record whose parts contradict each other."""
    words = TRIED if record.commission else MEASURED
    if sorted(item.item for item in record.items) != sorted(words):
        raise RequestError(
            f"{name} does not have the items of `treadle {_command(record)}`, allowed is its record as it "
            "was written"
        )
    passed = all(item.outcome in (*DONE, NOT_APPLICABLE) for item in record.items)
    if record.commission and record.passed != passed:
        raise RequestError(
            f"{name}: passed is {record.passed} there, and its items say {passed}; allowed is a record as it "
            "was written"
        )
    try:
        begun, ended = _time(record.begun), _time(record.ended)
        right = all(begun <= _time(item.at) <= ended for item in record.items)
    except (ValueError, TypeError):
        right = False
    if not right:
        raise RequestError(
            f"{name}: its times are not in order, allowed are dates and times as `treadle` writes them"
        )


def _time(text: str) -> datetime:
    """Return a time with its zone; ValueError if it is none."""
    at = datetime.fromisoformat(text)
    if at.tzinfo is None:
        raise ValueError(text)
    return at


def _command(record: Record) -> str:
    return "commission" if record.commission else "calibrate"


def told(record: Record) -> str:
    """Return one sentence about a record for the owner."""
    done, left = record.named(*DONE), record.named(SKIPPED, NOT_REACHED)
    if not record.commission:
        found = ", ".join(done) or "nothing"
        more = f"; left out: {', '.join(left)}" if left else ""
        return f"Measured at the bicycle by {record.who}, {record.day}: {found}{more}."
    failed = record.named(FAILED)
    more = f", {len(failed)} failed" if failed else ""
    more += f", {len(left)} not tried" if left else ""
    points = len(done) + len(failed) + len(left)
    return f"Tried on the stand by {record.who}, {record.day}: {len(done)} of {points} points held{more}."
