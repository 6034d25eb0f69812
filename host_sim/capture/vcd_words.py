"""Splits a piece of a VCD file's value changes into words and classifies them, all at once with numpy.

Word by word, in Python, a gigabyte would take an hour. The tests compare the result with that of pyvcd's
tokenizer. IEEE 1364, chapter "Value change dump files": `#time`, `0!` (a scalar's value and its
code), `b0101 !` (a vector's value, then its code), `r1.5 !`, and keywords.
"""

import re

import numpy as np

from host_sim.capture.decimals import DIGITS_MAX, Bytes, Index

UNKNOWN, TIME, SCALAR, VECTOR, OTHER, KEYWORD, CODE = range(7)
KEYWORDS = (b"$dumpvars", b"$dumpall", b"$dumpon", b"$dumpoff", b"$end")

LOW, HIGH, NEITHER, NO_VALUE = range(4)

_COMMENT = re.compile(rb"(?<!\S)\$comment(?=\s).*?(?<!\S)\$end(?!\S)", re.DOTALL)
_COMMENT_BEGINS = re.compile(rb"(?<!\S)\$comment(?=\s)")
_COMMENT_ENDS = re.compile(rb"(?<!\S)\$end(?!\S)")
_NO_LINE_END = re.compile(rb"[^\n]")


def _table(rows: dict[bytes, int], other: int = 0) -> Bytes:
    """Return a value for each byte: `other` for those that `rows` does not name."""
    table = np.full(256, other, np.uint8)
    for letters, value in rows.items():
        table[list(letters)] = value
    return table


_SPACE = _table({b" \t\n\v\f\r": 1}).astype(np.bool_)
_KIND = _table({b"#": TIME, b"01xXzZuUwWhHlL-": SCALAR, b"bB": VECTOR, b"rRsS": OTHER, b"$": KEYWORD})
# A weak high or low (VHDL's H and L) is a level; x, z, u, w and - are not.
_VALUE = _table({b"0lL": LOW, b"1hH": HIGH, b"xXzZuUwW-": NEITHER}, NO_VALUE)


class Words:
    """The words of a piece of text: their `kinds`, and `starts` and `ends` in `text`.

    `rest` is a vector's value at the end of the piece if its code is in the next one, else empty.
    """

    __slots__ = ("_bytes", "ends", "kinds", "rest", "starts", "text")

    def __init__(self, text: bytes) -> None:
        """Split a piece that ends between words and holds no comment."""
        self.text = text
        self._bytes: Bytes = np.frombuffer(b" " + text + b" ", np.uint8)
        space = _SPACE[self._bytes]
        borders = np.flatnonzero(space[1:] != space[:-1])
        self.starts: Index = borders[0::2]
        self.ends: Index = borders[1::2]
        self.kinds: Bytes = _KIND[self._bytes[self.starts + 1]]
        self.rest = b""
        self._find_codes()

    def word(self, index: int) -> bytes:
        """Return a word."""
        return self.text[int(self.starts[index]) : int(self.ends[index])]

    def first_strange(self) -> int:
        """Return the index of the first unexpected word; the number of words if there is none."""
        lengths = self.ends - self.starts
        strange = self.kinds == UNKNOWN
        strange |= (self.kinds == SCALAR) & (lengths < 2)
        strange |= (self.kinds == TIME) & ((lengths < 2) | (lengths > DIGITS_MAX + 1))
        for index in np.flatnonzero(self.kinds == KEYWORD).tolist():
            strange[index] = self.word(index) not in KEYWORDS
        found = np.flatnonzero(strange)
        return int(found[0]) if len(found) else len(strange)

    def times(self) -> tuple[Index, Index, int]:
        """Return the places of the times, the times, and the index of the first invalid one."""
        places = np.flatnonzero(self.kinds == TIME)
        digits = self.ends[places] - self.starts[places] - 1
        values = np.zeros(len(places), np.int64)
        first_wrong = len(self.kinds)
        for length in np.unique(digits):
            chosen = np.flatnonzero(digits == length)
            at = self.starts[places[chosen]] + 2
            for column in range(min(int(length), DIGITS_MAX)):
                digit = self._bytes[at + column] - np.uint8(48)  # Wraps: anything but a digit is above 9.
                wrong = np.flatnonzero(digit > 9)
                if len(wrong):
                    first_wrong = min(first_wrong, int(places[chosen[wrong[0]]]))
                values[chosen] = values[chosen] * 10 + digit
        return places, values, first_wrong

    def changes(self, code: bytes, place: int) -> tuple[Index, Bytes]:
        """Return where bit `place` of the variable `code` gets values, and these values, LOW to NO_VALUE."""
        scalars = (
            self._called(code, np.flatnonzero(self.kinds == SCALAR), 1) if place == 0 else self.starts[:0]
        )
        scalar_values = _VALUE[self._bytes[self.starts[scalars] + 1]]
        vectors = self._called(code, np.flatnonzero(self.kinds == CODE), 0) - 1
        vectors = vectors[self.kinds[vectors] == VECTOR]
        vector_values = self._bits(vectors, place)
        at = np.concatenate((scalars, vectors))
        order = np.argsort(at, kind="stable")
        return at[order], np.concatenate((scalar_values, vector_values))[order]

    def _find_codes(self) -> None:
        """Mark codes: whatever follows the value of a vector, a real or a string is one."""
        valued = (self.kinds == VECTOR) | (self.kinds == OTHER)
        if not valued.any():
            return
        index = np.arange(len(valued))
        before_run = np.maximum.accumulate(np.where(valued, -1, index))
        is_value = valued & ((index - before_run) % 2 == 1)
        if is_value[-1]:
            self.rest = self.word(-1) + b" "
            self.starts, self.ends = self.starts[:-1], self.ends[:-1]
            self.kinds, is_value = self.kinds[:-1], is_value[:-1]
        self.kinds[1:][is_value[:-1]] = CODE

    def _called(self, code: bytes, places: Index, skip: int) -> Index:
        """Return those of `places` whose word is `code`, after `skip` bytes."""
        lengths = self.ends[places] - self.starts[places]
        places = places[lengths == len(code) + skip]
        for offset, byte in enumerate(code):
            places = places[self._bytes[self.starts[places] + 1 + skip + offset] == byte]
        return places

    def _bits(self, places: Index, place: int) -> Bytes:
        """Return a bit of vectors' values; a missing bit is 0, or x or z like the leftmost bit."""
        at = self.ends[places] - place
        left = self.starts[places] + 2
        written = _VALUE[self._bytes[np.maximum(at, left)]]
        no_digit = self.ends[places] < left
        extended = np.where(written == HIGH, LOW, written)
        return np.where(no_digit, NO_VALUE, np.where(at < left, extended, written)).astype(np.uint8)


def without_comments(text: bytes, inside: bool) -> tuple[bytes, bool]:
    """Return `text` with comments replaced by spaces and line ends, and whether one is open at its end.

    `inside`: whether one is open at its beginning.
    """
    if inside:
        end = _COMMENT_ENDS.search(text)
        if end is None:
            return _NO_LINE_END.sub(b" ", text), True
        text = _NO_LINE_END.sub(b" ", text[: end.end()]) + text[end.end() :]
    if b"$comment" not in text:
        return text, False
    text = _COMMENT.sub(lambda found: _NO_LINE_END.sub(b" ", found[0]), text)
    begins = _COMMENT_BEGINS.search(text)
    if begins is None:
        return text, False
    return text[: begins.start()] + _NO_LINE_END.sub(b" ", text[begins.start() :]), True
