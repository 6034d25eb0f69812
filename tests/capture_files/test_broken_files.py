"""Whatever is done to a capture file: a sentence comes out of it or edges in order, never a traceback."""

import tempfile
from itertools import pairwise
from pathlib import Path
from unittest.mock import patch

import pytest
from hypothesis import given
from hypothesis import strategies as st

from host_sim.capture import blocks
from host_sim.capture.open_capture import open_capture
from host_sim.errors import RequestError
from tests.capture_files.making import CSV, DUMP, VCD, edges_of, session

BITS = 'b01 ! bx " $comment x $end r1 ! '
with tempfile.TemporaryDirectory() as _folder:
    SESSION = session(Path(_folder)).read_bytes()
VALID = {
    "vcd": (VCD + BITS).encode(),
    "csv": CSV.encode(),
    "no names": CSV.encode().partition(b"\n")[2],
    "dump": DUMP.encode(),
    "session": SESSION,
}

cuts = st.tuples(st.just("cut"), st.integers(0, 2000), st.integers(0, 40), st.just(b""))
changes = st.tuples(st.just("change"), st.integers(0, 2000), st.integers(0, 4), st.binary(max_size=6))
words = st.tuples(
    st.just("change"),
    st.integers(0, 2000),
    st.integers(0, 3),
    st.sampled_from(
        [b"#", b"$end ", b"$comment ", b"\n", b",", b'"', b"-", b"9" * 30, b"e9", b"\0", b"\xff",
         b"[", b"b ", b"x"]
    ),
)  # fmt: skip
repeats = st.tuples(st.just("repeat"), st.integers(0, 2000), st.integers(1, 200), st.just(b""))
mutations = st.lists(cuts | changes | words | repeats, min_size=1, max_size=6)


def _mutated(content: bytes, steps: list[tuple[str, int, int, bytes]]) -> bytes:
    for kind, at, length, new in steps:
        place = at % (len(content) + 1)
        removed = content[place : place + length]
        content = content[:place] + (removed * 2 if kind == "repeat" else new) + content[place + length :]
    return content


def _check(content: bytes, channels: tuple[str, ...] | None, block_bytes: int) -> None:
    with tempfile.TemporaryDirectory() as folder, patch.object(blocks, "BLOCK_BYTES", block_bytes):
        path = Path(folder) / "capture"
        path.write_bytes(content)
        try:
            capture = open_capture(path, channels, "us" if channels else None)
            edges = edges_of(capture)
        except RequestError as refusal:
            sentence = str(refusal)
            assert sentence.startswith("capture") or path.name in sentence
        else:
            sentence = capture.damage
            times_ns = [time_ns for time_ns, _ in edges]
            assert times_ns == sorted(set(times_ns))
            assert times_ns[0] == 0
            assert capture.duration_ns >= times_ns[-1]
            assert all(one != other for (_, one), (_, other) in pairwise(edges))
        assert sentence.isprintable()
        assert len(sentence) < 400


@pytest.mark.parametrize("form", VALID)
@given(
    steps=mutations,
    channels=st.sampled_from([None, ("A", "B"), ("B",), ("2",)]),
    block=st.sampled_from([7, 1 << 19]),
)
def test_a_mutated_file_gives_edges_in_order_or_a_sentence(form, steps, channels, block):
    _check(_mutated(VALID[form], steps), channels, block)


@given(
    content=st.binary(max_size=200) | st.text(max_size=100).map(str.encode),
    start=st.sampled_from([*VALID, ""]),
)
def test_random_bytes_give_a_sentence(content, start):
    _check(VALID.get(start, b"")[:20] + content, None, 1 << 19)


@pytest.mark.slow
@pytest.mark.parametrize("form", VALID)
def test_a_long_search(form):
    from hypothesis import settings

    @settings(max_examples=5000)
    @given(
        steps=mutations,
        channels=st.sampled_from([None, ("A", "B"), ("B",), ("2",)]),
        block=st.sampled_from([7, 1 << 19]),
    )
    def search(steps, channels, block):
        _check(_mutated(VALID[form], steps), channels, block)

    search()
