"""Records of a ride from a FIT file, read through the library fitdecode (extra `fit`)."""

import io
import math
from datetime import datetime
from pathlib import Path

from host_sim.bench.records_of_ride import LIMITS, RideRecords
from host_sim.errors import RequestError
from host_sim.textfile import RIDE_BYTES_MAX, read_bytes, spoken

# Where a recorder writes both, the first named field has the finer steps.
_FIELDS = {
    "rider_power_w": ("power",),
    "speed_m_per_s": ("enhanced_speed", "speed"),
    "altitude_m": ("enhanced_altitude", "altitude"),
}


def read_fit(path: Path) -> RideRecords:
    """Return the `record` messages of a FIT file; an error in it raises RequestError."""
    file_name = spoken(path.name)
    try:
        import fitdecode  # type: ignore[import-untyped]
    except ImportError as error:
        raise RequestError(
            f"{file_name}: FIT files need the extra `fit`, get it with: uv sync --extra fit"
        ) from error
    content = read_bytes(path, RIDE_BYTES_MAX)
    records = RideRecords()
    first: datetime | None = None
    # The checksum is checked: a damaged recording is refused, not partly read.
    options = {"check_crc": fitdecode.CrcCheck.RAISE, "error_handling": fitdecode.ErrorHandling.RAISE}
    try:
        with fitdecode.FitReader(io.BytesIO(content), **options) as reader:
            for frame in reader:
                if isinstance(frame, fitdecode.FitDataMessage) and frame.name == "record":
                    first = _add(records, frame, first, f"{file_name} record {len(records.elapsed_s) + 1}")
    except RequestError:
        raise
    except Exception as error:
        # Damaged bytes make the library raise many kinds of error; all mean that the file is damaged.
        raise RequestError(
            f"{file_name}: this is not a complete FIT file ({error or type(error).__name__})"
        ) from error
    records.check_not_empty(file_name)
    return records


def _add(records: RideRecords, frame: object, first: datetime | None, place: str) -> datetime:
    """Append one `record` message and return the time stamp of the first one."""
    stamp = _field(frame, ("timestamp",))
    if not isinstance(stamp, datetime):
        raise RequestError(f"{place}: it has no time stamp")
    first = first or stamp
    elapsed_s = (stamp - first).total_seconds()
    before_s = records.elapsed_s[-1] if records.elapsed_s else 0.0
    if elapsed_s < before_s:
        raise RequestError(
            f"{place}: its time is {elapsed_s:g} s, allowed is {before_s:g} s, the one before it, or more"
        )
    values = {name: _number(name, _field(frame, fields), place) for name, fields in _FIELDS.items()}
    values["cadence_rpm"] = _number("cadence_rpm", _cadence_rpm(frame), place)
    records.add(elapsed_s, values)
    return first


def _cadence_rpm(frame: object) -> object:
    """Return whole turns a minute plus the fraction that some recorders add."""
    whole, fraction = _field(frame, ("cadence",)), _field(frame, ("fractional_cadence",))
    both = isinstance(whole, int | float) and isinstance(fraction, int | float)
    return whole + fraction if both else whole  # type: ignore[operator]


def _field(frame: object, names: tuple[str, ...]) -> object:
    """Return the first of the named fields that has a value, else None."""
    for name in names:
        value = frame.get_value(name, fallback=None)  # type: ignore[attr-defined]
        if value is not None:
            return value
    return None


def _number(name: str, value: object, place: str) -> float | None:
    if value is None:
        return None
    low, high, unit = LIMITS[name]
    plausible = isinstance(value, int | float) and math.isfinite(value) and low <= value <= high
    if not plausible:
        raise RequestError(f"{place}: {name} is {str(value)[:40]}, allowed is {low:g} to {high:g} ({unit})")
    return float(value)  # type: ignore[arg-type]
