"""The beginning of a CSV capture: separator, names of the columns, unit of time, where the data begin."""

import re
from codecs import BOM_UTF8
from dataclasses import dataclass
from pathlib import Path

from host_sim.capture.blocks import shown
from host_sim.capture.choice import choose
from host_sim.capture.decimals import in_ns
from host_sim.errors import RequestError
from host_sim.textfile import spoken

HEAD_BYTES = 1 << 16  # Comments, the names and the first row are within this.
UNIT_EXPONENTS = {"s": 9, "ms": 6, "us": 3, "ns": 0}  # In powers of ten of a nanosecond.
SEPARATORS = ("\t", ";", ",")
MULTIPLES = {"": 1, "k": 10**3, "m": 10**6, "g": 10**9}  # Of Hz.
COMMENTS = (b"#", b";")
TIME_NAME = re.compile(r"(t|time|times|timestamp|seconds|elapsed)(?![a-z0-9])", re.IGNORECASE)
UNIT_WORDS = (
    UNIT_EXPONENTS
    | {"μs": 3}
    | {
        first + second: exponent
        for first, exponent in (("", 9), ("milli", 6), ("micro", 3), ("nano", 0))
        for second in ("sec", "secs", "second", "seconds")
    }
)
_UNIT = re.compile(rf"(?:^|[\s_(\[/,-])({'|'.join(UNIT_WORDS)}|µs)[)\]]?$", re.IGNORECASE)


@dataclass(frozen=True, slots=True)
class CsvHeader:
    """How to read the rows, from the byte `data_begin` on, which is line `lines` + 1.

    `columns` are those of the levels, A first, from 0. `exponent`: power of ten from the unit of time to ns.
    """

    separator: str
    columns_in_row: int
    time_column: int
    columns: tuple[int, ...]
    names: tuple[str, ...]
    exponent: int
    data_begin: int
    lines: int


def read_csv_header(
    head: bytes, path: Path, channels: tuple[str, ...] | None, time_unit: str | None
) -> CsvHeader:
    """Evaluate the first HEAD_BYTES of a file; RequestError says why it is not a capture."""
    name = spoken(path.name)
    begin, lines = _skip_comments(head)
    first_end = (head.find(b"\n", begin) + 1) or len(head)
    first = _text(head[begin:first_end])
    separator = next((sign for sign in SEPARATORS if sign in first), None)
    if separator is None or not first.replace("\t", " ").isprintable():
        raise RequestError(
            f"{name} line {lines + 1}: {shown(head[begin:first_end].strip())} does not begin a capture; "
            f"allowed is VCD, CSV (time and levels between commas, semicolons or tabs), session files and "
            f"edge dumps"
        )
    fields = [field.strip().strip('"').strip() for field in first.split(separator)]
    has_names = in_ns(pointed(fields[0], separator), 0) is None
    names = fields if has_names else [f"{number}" for number in range(1, len(fields) + 1)]
    time_column = next((place for place, field in enumerate(names) if TIME_NAME.match(field)), 0)
    exponent = _exponent(names[time_column] if has_names else None, time_unit, name, lines + 1)
    level_names = [field for place, field in enumerate(names) if place != time_column]
    places = choose(level_names, channels, name, "columns of levels")
    header = CsvHeader(
        separator=separator,
        columns_in_row=len(fields),
        time_column=time_column,
        columns=tuple(place + (place >= time_column) for place in places),
        names=tuple(level_names[place] for place in places),
        exponent=exponent,
        data_begin=first_end if has_names else begin,
        lines=lines + 1 if has_names else lines,
    )
    if has_names and not head[first_end:].strip():
        raise RequestError(f"{name}: there is no row after the names of the columns")
    return header


def _skip_comments(head: bytes) -> tuple[int, int]:
    """Return where the first line that is neither empty nor a comment begins, and how many precede it."""
    begin = len(BOM_UTF8) if head.startswith(BOM_UTF8) else 0
    lines = 0
    while begin < len(head):
        end = (head.find(b"\n", begin) + 1) or len(head)
        line = head[begin:end].strip()
        if line and not line.startswith(COMMENTS):
            break
        begin, lines = end, lines + 1
    return begin, lines


def _text(line: bytes) -> str:
    """Return a line as text; Latin-1 if it is not UTF-8, because old programs write the micro sign so."""
    try:
        text = line.decode("utf-8")
    except UnicodeDecodeError:
        text = line.decode("latin-1")
    return text.rstrip("\r\n")


def pointed(number: str, separator: str) -> str:
    """Return a number with a decimal point; a comma is one unless it separates the columns."""
    return number.replace(",", ".", 1) if separator != "," and "." not in number else number


def exponent_of(time_unit: str) -> int:
    """Return the power of ten from the unit that the user gave to nanoseconds; RequestError if unknown."""
    if time_unit not in UNIT_EXPONENTS:
        raise RequestError(f"--time-unit is '{time_unit}', allowed is {', '.join(UNIT_EXPONENTS)}")
    return UNIT_EXPONENTS[time_unit]


def _exponent(column: str | None, time_unit: str | None, name: str, line: int) -> int:
    """Return the power of ten from the file's unit of time to nanoseconds."""
    if time_unit is not None:
        return exponent_of(time_unit)
    found = _UNIT.search(column) if column is not None else None
    if found is None:
        said = (
            "there are no names of columns and"
            if column is None
            else f"the column {shown(column.encode())} names"
        )
        raise RequestError(
            f"{name} line {line}: {said} no unit of time, allowed is a name such as"
            f" 'time_us' or 'time [s]', or --time-unit with {', '.join(UNIT_EXPONENTS)}"
        )
    return UNIT_WORDS[found[1].casefold()]  # Both micro signs become one.
