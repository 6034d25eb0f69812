"""Pairs of the board's reading and the meter's value, from records of `treadle calibrate`.

Throttle, selector and wheel are not included: calibrate writes those into the bike file itself.
"""

from pathlib import Path
from typing import Annotated, Literal

from pydantic import BaseModel, ConfigDict, Field, ValidationError

from host_sim.errors import RequestError
from host_sim.textfile import read_text, spoken

RECORD_BYTES_MAX = 1_000_000
ALLOWED = "a record of treadle calibrate in which battery or shunt was measured"
Value = Annotated[float, Field(ge=-1000.0, le=1000.0)]
Pairs = list[tuple[Value, Value]]


class _Part(BaseModel):
    model_config = ConfigDict(allow_inf_nan=False, frozen=True)


class _Known(_Part):
    divider: Pairs = []
    shunt: Pairs = []


class _Record(_Part):
    heading: Literal["treadle calibration 1"]
    known_values: _Known


def calibrated_pairs(path: Path) -> dict[str, list[tuple[float, float]]]:
    """Return the pairs of a record, by part; RequestError if it is not a record, or has none."""
    text = read_text(path, RECORD_BYTES_MAX)
    try:
        known = _Record.model_validate_json(text).known_values
    except ValidationError as error:
        first = error.errors(include_url=False)[0]
        where = ".".join(str(part)[:40] for part in first["loc"]) or "its content"
        raise RequestError(f"{spoken(path.name)}: {where} does not fit, allowed is {ALLOWED}") from None
    found = {name: pairs for name, pairs in (("divider", known.divider), ("shunt", known.shunt)) if pairs}
    if not found:
        raise RequestError(f"{spoken(path.name)}: it has no known values, allowed is {ALLOWED}")
    return found
