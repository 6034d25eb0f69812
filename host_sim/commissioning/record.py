"""A record of work at the bicycle, as data that other commands can attach: who saw what, and when."""

from dataclasses import asdict, dataclass
from typing import Any

CALIBRATION, COMMISSION = "treadle calibration 1", "treadle commission 1"  # Headings of the records.
TICKED = "ticked"  # Seen in the board's telemetry.
CONFIRMED = "confirmed"  # Confirmed by the user.
FAILED = "failed"
SKIPPED = "skipped"
NOT_APPLICABLE = "not applicable"
NOT_REACHED = "not reached"


@dataclass(frozen=True, slots=True)
class Entry:
    """One item: its name and sentence, the outcome, what was seen, and when (UTC, ISO 8601)."""

    item: str
    sentence: str
    outcome: str
    seen: str
    at: str


def record_of(
    heading: str, bike: str, board: str, by: str, entries: list[Entry], more: dict[str, Any]
) -> dict[str, Any]:
    """Return the record as data for JSON."""
    return {
        "heading": heading,
        "bike": bike,
        "board": board,
        "by": by,
        **more,
        "items": [asdict(entry) for entry in entries],
    }
