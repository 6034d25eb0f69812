"""Decimal numbers become whole nanoseconds exactly, and many at once as one by one."""

from fractions import Fraction
from pathlib import Path

import numpy as np
import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from host_sim.capture.csv_header import read_csv_header
from host_sim.capture.csv_rows import _alike_rows, rows_one_by_one
from host_sim.capture.decimals import all_in_ns, in_ns

numbers = st.from_regex(
    r"[-+]?([0-9]{1,9}(\.[0-9]{0,15})?|\.[0-9]{1,12})([eE][-+]?[0-9]{1,2})?", fullmatch=True
)
strange = numbers | st.text("0123456789.eE+- ", max_size=12)


def _all(words: list[str], exponent: int) -> list[int] | None:
    text = np.frombuffer(b" " + " ".join(words).encode() + b" ", np.uint8)
    lengths = np.array([len(word) for word in words], np.int64)
    starts = np.cumsum(np.concatenate(([1], lengths[:-1] + 1)))
    found = all_in_ns(text, starts, starts + lengths, exponent)
    return None if found is None else found.tolist()


@pytest.mark.parametrize(
    ("word", "exponent", "value"),
    [
        ("0.1", 9, 100_000_000),  # No binary fraction.
        ("0.000000001", 9, 1),
        ("0.0000000005", 9, 1),
        ("0.0000000004999999999", 9, 0),
        ("-0.0000000005", 9, -1),
        ("9.999999e-07", 9, 1000),
        ("1.5E+3", 3, 1_500_000),
        ("+7.", 0, 7),
        (".5", 9, 500_000_000),
        ("9000000000000000000", 0, None),  # 19 digits: left to the one by one.
        ("00000000.00000000050", 9, 1),  # 19 digits, of which the last says nothing.
        ("9000000000.0", 9, 9_000_000_000_000_000_000),
        ("9000000001.0", 9, None),
        ("1e19", 0, None),
        ("0e99", 9, 0),
        ("1e-99", 9, 0),
        ("1e5000", 0, None),
        ("", 0, None),
        ("-", 0, None),
        (".", 0, None),
        ("1e", 0, None),
        ("1.2.3", 0, None),
        ("1-2", 0, None),
        ("1 2", 0, None),
    ],
)
def test_numbers_by_hand(word, exponent, value):
    assert _all([word], exponent) == (None if value is None else [value])
    if word != "9000000000000000000":
        assert in_ns(word, exponent) == value


def test_letters_among_digits_are_found_whatever_their_code():
    for letter in map(chr, range(128)):
        found = _all(["12", f"1{letter}"], 0)
        assert found == ([12, 10 + int(letter)] if letter.isdigit() else [12, 1] if letter == "." else None)


@given(words=st.lists(numbers, min_size=1, max_size=12), exponent=st.sampled_from([0, 3, 6, 9]))
def test_one_by_one_is_exact(words, exponent):
    for word in words:
        exact = Fraction(word.rstrip(".") if "e" not in word.lower() else word.lower().replace(".e", "e"))
        exact *= 10**exponent
        nearest = int(abs(exact) + Fraction(1, 2)) * (1 if exact >= 0 else -1)
        assert in_ns(word, exponent) == (nearest if abs(nearest) <= 9 * 10**18 else None)


# The nineteenth digit decides the rounding.
@example(words=["000000000.0000000005"], exponent=9)
@example(words=["000000000.00000000050"], exponent=9)
@given(words=st.lists(strange, min_size=1, max_size=12), exponent=st.sampled_from([0, 3, 6, 9]))
def test_all_at_once_is_as_one_by_one_or_gives_up(words, exponent):
    found = _all(words, exponent)
    one_by_one = [in_ns(word, exponent) for word in words]
    assert found is None or found == one_by_one


@given(words=st.lists(st.integers(0, 10**12), min_size=1, max_size=20), decimals=st.integers(0, 9))
def test_plain_numbers_are_never_given_up(words, decimals):
    written = [
        f"{word // 10**decimals}.{word % 10**decimals:0{decimals}}" if decimals else f"{word}"
        for word in words
    ]
    assert _all(written, decimals) == words


fields = st.sampled_from(
    ["0", "1", " 0", "1 ", "x", "Z", "high", "L", "true", "2", "", '"1"', "0 1", "on", "ofF"]
)
rows = st.tuples(numbers | st.sampled_from(["1", "1,5", " 2", ""]), fields, fields)


@given(
    table=st.lists(rows, min_size=1, max_size=8),
    separator=st.sampled_from(",;\t"),
    end=st.sampled_from(["\n", "\r\n"]),
)
def test_all_rows_at_once_are_as_row_by_row_or_are_given_up(table, separator, end):
    header = read_csv_header(f"time_us{separator}A{separator}B\n1".encode(), Path("x"), None, None)
    text = "".join(separator.join(row) + end for row in table).encode()
    slow = rows_one_by_one(text, header)
    fast = _alike_rows(text, header)
    if fast is None:
        return
    assert slow.wrong == ""
    for name in ("times_ns", "levels", "unknown", "lines"):
        assert getattr(fast, name).tolist() == getattr(slow, name).tolist(), name
