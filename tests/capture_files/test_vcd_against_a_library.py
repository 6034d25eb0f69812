"""The fast reader of VCD files gives what pyvcd's tokenizer, word by word, gives."""

import io
import tempfile
from pathlib import Path
from unittest.mock import patch

from hypothesis import given
from hypothesis import strategies as st
from vcd.reader import TokenKind, tokenize

from host_sim.capture import blocks
from tests.capture_files.making import Edge, read, written

HEADER = """$timescale 1 us $end $scope module top $end
$var wire 1 ! A $end $var wire 3 b B[2:0] $end $var wire 1 #1 other $end $var real 64 1! number $end
$upscope $end $enddefinitions $end
"""
BIT = {"0": 0, "l": 0, "L": 0, "1": 1, "h": 1, "H": 1}

spaces = st.sampled_from([" ", "\n", "\t", "\r\n", "  \n "])
scalars = st.builds(
    "{}{}".format, st.sampled_from("01xXzZuUwWhHlL-"), st.sampled_from(["!", "#1", "!!", "b"])
)
vectors = st.builds(
    "{}{}{}{}".format,
    st.sampled_from("bB"),
    st.text("01xz", min_size=1, max_size=3),
    spaces,
    st.sampled_from(["b", "!", "#1", "1!"]),
)
reals = st.builds("r{}{}{}".format, st.floats(0, 9).map(repr), spaces, st.sampled_from(["1!", "b"]))
words = st.sampled_from(["$dumpvars", "$end", "$dumpall", "$comment #9 1! $end"])
changes = st.lists(
    st.tuples(st.integers(0, 10**6), st.lists(scalars | vectors | reals | words, max_size=5)), max_size=12
)


def _by_the_library(text: str) -> list[Edge]:
    """Return the edges of A and B[1], by the rules of the format, from the library's tokens."""
    edges: list[Edge] = []
    levels, now_us = 0, 0
    for token in tokenize(io.BytesIO(text.encode())):
        if token.kind is TokenKind.CHANGE_TIME:
            now_us = token.time_change
            continue
        for channel, value in enumerate(_values(token)):
            if value in BIT:
                levels = levels & ~(1 << channel) | BIT[value] << channel
        if token.kind in (TokenKind.CHANGE_SCALAR, TokenKind.CHANGE_VECTOR) and any(_values(token)):
            edges.append((now_us * 1000, levels))
    return edges


def _values(token) -> tuple[str, str]:
    if token.kind is TokenKind.CHANGE_SCALAR:
        change = token.scalar_change
        return (change.value if change.id_code == "!" else "", "")  # B[1] of a lone value: no such bit there.
    if token.kind is TokenKind.CHANGE_VECTOR:
        change = token.vector_change
        text = f"{change.value:b}" if isinstance(change.value, int) else change.value
        left = "0" if text[0] in "01" else text[0]
        text = text.rjust(3, left)
        return (text[-1] if change.id_code == "!" else "", text[-2] if change.id_code == "b" else "")
    return ("", "")


def _tidied(edges: list[Edge]) -> list[Edge]:
    """Keep the last edge of a moment, then only those that change something."""
    last_of_moment = dict(edges)
    found: list[Edge] = []
    for time_ns, levels in last_of_moment.items():
        if not found or levels != found[-1][1]:
            found.append((time_ns, levels))
    return found


@given(changes=changes, space=spaces, block_bytes=st.sampled_from([1, 3, 16, 100, 1 << 19]))
def test_any_value_changes_are_read_as_the_library_reads_them(changes, space, block_bytes):
    time_us = 0
    parts = ["#0", "0!", "b000 b"]
    for gap_us, change in changes:
        time_us += gap_us
        parts += [f"#{time_us}", *change]
    text = HEADER + space.join(parts) + space
    with tempfile.TemporaryDirectory() as folder, patch.object(blocks, "BLOCK_BYTES", block_bytes):
        assert read(written(Path(folder), text), ("A", "B[1]")) == _tidied(_by_the_library(text))
