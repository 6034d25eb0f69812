"""Converts decimal numbers in a text to whole nanoseconds, many at once and exactly, without floats.

Numbers of the same form (sign, point and exponent at the same positions) are read together, digit by digit.
"""

from decimal import Decimal, InvalidOperation

import numpy as np
from numpy.typing import NDArray

from host_sim.capture.edges import TIME_NS_MAX

Index = NDArray[np.int64]
Bytes = NDArray[np.uint8]

DIGITS_MAX = 18  # Fits 63 bits whatever the digits are.
LONGEST = 40  # Characters of a number.
_ZERO, _MINUS, _PLUS, _POINT, _E = 48, 45, 43, 46, 101


def all_in_ns(text: Bytes, starts: Index, ends: Index, exponent: int) -> Index | None:
    """Return the numbers in `text` between `starts` and `ends` times 10**exponent, each rounded.

    None if one of them is not a plain decimal number, has too many digits, or exceeds 63 bits; `in_ns`
    accepts more forms.
    """
    lengths = ends - starts
    if len(lengths) and not 1 <= int(lengths.min()) <= int(lengths.max()) <= LONGEST:
        return None
    values = np.zeros(len(starts), np.int64)
    for length in np.unique(lengths):
        chosen = np.flatnonzero(lengths == length)
        letters = text[starts[chosen][:, None] + np.arange(int(length))]
        if not _read_alike(letters, chosen, values, exponent):
            return None
    return values


def in_ns(word: str, exponent: int) -> int | None:
    """Return one number times 10**exponent, rounded; None if it is not a number or out of range."""
    if len(word) > LONGEST or not word.isascii() or "_" in word:
        return None
    try:
        number = Decimal(word)
    except InvalidOperation:
        return None
    if not number.is_finite() or (number != 0 and number.adjusted() + exponent > 18):
        return None
    number = number.scaleb(exponent) if number != 0 else number
    whole = int(abs(number) + Decimal("0.5"))
    whole = -whole if number < 0 else whole
    return whole if abs(whole) <= TIME_NS_MAX else None


def _read_alike(letters: Bytes, chosen: Index, values: Index, exponent: int) -> bool:
    """Read numbers of one length into `values`, form by form; False if one can't be read."""
    no_digit = (letters - np.uint8(_ZERO)) > 9  # Wraps: anything but a digit is above 9.
    # A weight for each column distinguishes forms; two forms with equal keys are noticed below.
    column_weights = np.arange(1, letters.shape[1] + 1, dtype=np.int64) ** 3 * 1_000_003
    keys = (no_digit * letters.astype(np.int64)) @ column_weights
    _, firsts, groups = np.unique(keys, return_index=True, return_inverse=True)
    for group, first in enumerate(firsts):
        rows = np.flatnonzero(groups == group) if len(firsts) > 1 else np.arange(len(letters))
        if not (no_digit[rows] == no_digit[first]).all():
            return False
        form = letters[first]
        if not (letters[rows][:, no_digit[first]] == form[no_digit[first]]).all():
            return False
        read = _read_form(letters[rows], bytes(form), exponent)
        if read is None:
            return False
        values[chosen[rows]] = read
    return True


def _read_form(letters: Bytes, form: bytes, exponent: int) -> Index | None:
    """Read numbers with sign, point and exponent at the same positions as in `form`."""
    body = form.lower()
    mantissa_end = body.index(_E) if _E in body else len(body)
    begin = 1 if body[0] in (_MINUS, _PLUS) else 0
    point = body.find(b".", begin, mantissa_end)
    columns = [column for column in range(begin, mantissa_end) if column != point]
    if not columns or any(not 0 <= body[column] - _ZERO <= 9 for column in columns):
        return None
    decimals = mantissa_end - point - 1 if point >= 0 else 0
    # Decimals that do not fit may be dropped below tenths of a nanosecond, which decide the rounding.
    spare = max(len(columns) - DIGITS_MAX, 0)
    if spare and (exponent - decimals + spare >= 0 or spare > decimals or mantissa_end < len(body)):
        return None
    mantissas = _digits(letters, columns[: len(columns) - spare])
    power = np.full(len(letters), exponent - decimals + spare, np.int64)
    if mantissa_end < len(body):
        exponents = _exponents(letters, body, mantissa_end + 1)
        if exponents is None:
            return None
        power += exponents
    values = _scaled(mantissas, power)
    return values if values is None or body[0] != _MINUS else -values


def _digits(letters: Bytes, columns: list[int]) -> Index:
    values = np.zeros(len(letters), np.int64)
    for column in columns:
        values = values * 10 + (letters[:, column] - np.uint8(_ZERO))
    return values


def _exponents(letters: Bytes, body: bytes, begin: int) -> Index | None:
    sign = -1 if body[begin : begin + 1] == b"-" else 1
    begin += body[begin : begin + 1] in (b"-", b"+")
    if not 1 <= len(body) - begin <= 3 or not body[begin:].isdigit():
        return None
    return sign * _digits(letters, list(range(begin, len(body))))


def _scaled(mantissas: Index, powers: Index) -> Index | None:
    """Return mantissas times ten to their powers, rounded half up; None if one leaves 63 bits."""
    values = np.zeros(len(mantissas), np.int64)
    for power in np.unique(powers):
        rows = np.flatnonzero(powers == power) if (powers != power).any() else slice(None)
        part = mantissas[rows]
        if power >= 0:
            factor = 10 ** min(int(power), 19)
            if len(part) and int(part.max()) > TIME_NS_MAX // factor:
                return None
            values[rows] = part * factor if factor <= TIME_NS_MAX else 0
        elif power >= -DIGITS_MAX:
            divisor = 10 ** -int(power)
            values[rows] = part // divisor + (part % divisor >= divisor // 2)
    return values
