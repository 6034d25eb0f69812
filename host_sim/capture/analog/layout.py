"""The layout of a CSV file of volts: where the numbers begin, and what each column contains, in which unit.

The lines above the numbers vary: settings, names, a line of units. The numbers begin with the first rows that
contain only numbers, in equal numbers of columns; names and units are the lines directly above them.
"""

import re
from dataclasses import dataclass, replace
from itertools import pairwise
from pathlib import Path

from host_sim.capture.choice import choose
from host_sim.capture.csv_header import (
    MULTIPLES,
    SEPARATORS,
    TIME_NAME,
    UNIT_EXPONENTS,
    UNIT_WORDS,
    exponent_of,
    pointed,
)
from host_sim.capture.csv_rows import LEVEL_WORDS
from host_sim.capture.edges import RATE_MAX_HZ
from host_sim.errors import RequestError
from host_sim.textfile import spoken

ROWS_ALIKE = 3  # This many consecutive rows of numbers are data, not settings.
HOLDS_VOLTS = 0.25  # Share of rows with a number other than 0 and 1; a single one is a damaged row.
VOLT_WORDS = {"v": 1.0, "volt": 1.0, "volts": 1.0, "mv": 1e-3, "millivolt": 1e-3, "millivolts": 1e-3}
_COUNTER = re.compile(
    r"(n|no|nr|x|#|index|sample|samples|point|points|number|sequence)[.\s]*$", re.IGNORECASE
)
_LAST_WORD = re.compile(r"(?:^|[\s_(\[/,-])([a-zµμ]+)[)\]]?$", re.IGNORECASE)
_RATE = re.compile(
    r"sampl\w*\s*(?:rate|freq\w*)\W*?([\d.]+(?:e[+-]?\d+)?)\W*([kmg]?)\s*(?:hz|s(?:a|amples)?/s)?",
    re.IGNORECASE,
)
_INTERVAL = re.compile(
    r"(?:sampl\w*\s*(?:interval|period|time)|increment|interval)\W*?([\d.]+(?:e[+-]?\d+)?)\W*([a-zµμ]*)",
    re.IGNORECASE,
)


@dataclass(frozen=True, slots=True)
class Layout:
    """How to read the rows from the byte `data_begin` on, which is line `lines` + 1.

    `time_column` -1: there are no times, samples come at `rate_hz`. `exponent` of the time's unit in
    nanoseconds. `columns` are those of the channels, A first; `scales` convert them to volts; `unit_known`:
    whether the file names volts or millivolts.
    """

    separator: str
    columns_in_row: int
    time_column: int
    exponent: int
    rate_hz: float
    columns: tuple[int, ...]
    names: tuple[str, ...]
    scales: tuple[float, ...]
    unit_known: bool
    data_begin: int
    lines: int


@dataclass(frozen=True, slots=True)
class _Head:
    """The beginning of a file: lines above the numbers, and the rows of numbers that follow."""

    above: list[list[str]]
    texts: list[str]
    rows: list[list[str]]
    separator: str
    data_begin: int
    lines: int


def layout_of(
    head: bytes,
    path: Path,
    channels: tuple[str, ...] | None,
    time_unit: str | None,
    samplerate_hz: int | None,
) -> Layout | None:
    """Return the layout of a file of volts; None if its columns are levels, or it has no numbers.

    RequestError says what is missing: which channels are meant, the unit of time, or the rate of samples.
    """
    found = _numbers_in(head)
    if found is None:
        return None
    names, units = _names_and_units(found)
    time_column = _time_column(found, names, units, samplerate_hz)
    counters = [place for place, name in enumerate(names) if _COUNTER.match(name) and place != time_column]
    ours = [place for place in range(len(names)) if place != time_column and place not in counters]
    ours = [place for place in ours if any(row[place] for row in found.rows)]
    if not ours or not _in_volts(found, ours, units):
        return None
    file = spoken(path.name)
    places = choose([names[place] for place in ours], channels, file, "columns of volts")
    columns = tuple(ours[place] for place in places)
    layout = Layout(
        separator=found.separator,
        columns_in_row=len(names),
        time_column=time_column,
        exponent=0,
        rate_hz=0.0,
        columns=columns,
        names=tuple(names[column] for column in columns),
        scales=tuple(VOLT_WORDS.get(units[column], 1.0) for column in columns),
        unit_known=all(units[column] in VOLT_WORDS for column in columns),
        data_begin=found.data_begin,
        lines=found.lines,
    )
    if time_column >= 0 and samplerate_hz is not None:
        raise RequestError(f"{file}: --samplerate is given, allowed is a file of volts without times")
    if time_column < 0:
        return replace(layout, rate_hz=_rate(found.texts, samplerate_hz, file))
    return replace(layout, exponent=_exponent(units[time_column], time_unit, file, found.lines))


def _numbers_in(head: bytes) -> _Head | None:
    """Return the lines above the numbers and the numbers; None if there are none."""
    raw = head.split(b"\n")
    lines = [line.decode("utf-8", "replace").strip().lstrip("\ufeff") for line in raw]
    lines = lines[:-1] if len(lines) > ROWS_ALIKE + 1 else lines  # The last one may be incomplete.
    for separator in SEPARATORS:
        rows = [[word.strip().strip('"').strip() for word in line.split(separator)] for line in lines]
        wide = [len(row) if _is_numbers(row, separator) else 0 for row in rows]
        for first, width in enumerate(wide):
            alike = [count == width for count in wide[first : first + ROWS_ALIKE]]
            if width and all(alike) and (separator != "," or len(alike) == ROWS_ALIKE):
                end = next((at for at in range(first, len(rows)) if wide[at] != width), len(rows))
                begin = sum(len(line) + 1 for line in raw[:first])
                above = [row for row, line in zip(rows[:first], lines, strict=False) if line]
                texts = [line for line in lines[:first] if line]
                if width == 1 and separator != ",":
                    break  # Another separator may have more columns.
                return _Head(above, texts, rows[first:end], separator, begin, first)
    return None


def _is_numbers(row: list[str], separator: str) -> bool:
    """Whether a row has numbers only; fields at its end may be empty."""
    filled = [word for word in row if word]
    return bool(filled) and bool(row[0]) and all(is_number(pointed(word, separator)) for word in filled)


def is_number(word: str) -> bool:
    """Whether a word is a decimal number, or an infinity: the value was out of range."""
    try:
        float(word.replace("∞", "inf"))
    except ValueError:
        return False
    return "_" not in word


def _names_and_units(found: _Head) -> tuple[list[str], list[str]]:
    """Return a name and a unit (a word in small letters, or "") for each column."""
    width = len(found.rows[0])
    above = [row for row in found.above if len(row) == width and not row[0].startswith(("#", ";"))][-2:]
    units = [""] * width
    if above and (words := [_unit_word(word) for word in above[-1]]) and _are_units(words, above[-1]):
        units = words
        above = above[:-1]
    names = above[-1] if above else [""] * width
    names = [name or f"{place + 1}" for place, name in enumerate(names)]
    in_names = [_unit_word(name) for name in names]
    return names, [unit or named for unit, named in zip(units, in_names, strict=True)]


def _are_units(words: list[str], fields: list[str]) -> bool:
    return any(words) and all(
        word and len(field.strip("()[]")) == len(word)
        for word, field in zip(words, fields, strict=True)
        if field
    )


def _unit_word(text: str) -> str:
    """Return the unit that a text is or ends with, in small letters; "" if none."""
    match = _LAST_WORD.search(text.strip())
    word = match[1].casefold() if match else ""
    return word if word in VOLT_WORDS or word in UNIT_WORDS else ""


def _time_column(found: _Head, names: list[str], units: list[str], samplerate_hz: int | None) -> int:
    """Return the column of times, -1 if there is none."""
    for place, (name, unit) in enumerate(zip(names, units, strict=True)):
        if TIME_NAME.match(name) or unit in UNIT_WORDS:
            return place
    if samplerate_hz is not None or len(names) == 1 or units[0] in VOLT_WORDS or _COUNTER.match(names[0]):
        return -1
    first = [float(pointed(row[0], found.separator).replace("∞", "inf")) for row in found.rows]
    return 0 if all(one < two for one, two in pairwise(first)) else -1


def _in_volts(found: _Head, columns: list[int], units: list[str]) -> bool:
    if any(units[column] in VOLT_WORDS for column in columns):
        return True
    other = sum(any(row[place].casefold() not in LEVEL_WORDS for place in columns) for row in found.rows)
    return other > HOLDS_VOLTS * len(found.rows)


def _rate(above: list[str], told_hz: int | None, file: str) -> float:
    """Return the samples per second, from the user or from a line above the numbers."""
    rate_hz = float(told_hz) if told_hz is not None else 0.0
    for text in above:
        if not rate_hz and (match := _RATE.search(text)) and is_number(match[1]):
            rate_hz = float(match[1]) * MULTIPLES[match[2].casefold()]
        if (
            not rate_hz
            and (match := _INTERVAL.search(text))
            and is_number(match[1])
            and float(match[1]) > 0.0
        ):
            exponent = UNIT_WORDS.get(match[2].casefold(), UNIT_EXPONENTS["s"])
            rate_hz = 1e9 / (float(match[1]) * 10.0**exponent)
    if not 0.0 < rate_hz <= RATE_MAX_HZ:
        raise RequestError(
            f"{file}: it has volts and no times, allowed is --samplerate with the samples a second"
        )
    return rate_hz


def _exponent(unit: str, time_unit: str | None, file: str, line: int) -> int:
    if time_unit is not None:
        return exponent_of(time_unit)
    if unit not in UNIT_WORDS:
        raise RequestError(
            f"{file} line {line + 1}: the column of times names no unit, allowed is --time-unit with "
            f"{', '.join(UNIT_EXPONENTS)}"
        )
    return UNIT_WORDS[unit]
