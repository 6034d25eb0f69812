"""What a file is, is told by its content; what can't be a capture is refused in a sentence."""

import gzip
import os

import pytest

from host_sim.capture.open_capture import open_capture
from host_sim.errors import RequestError
from tests.capture_files.making import CSV, DUMP, FORWARD, VCD, edges_of, read, session, written


@pytest.mark.parametrize("name", ["a.vcd", "a.csv", "a.sr", "a.jsonl", "no suffix"])
@pytest.mark.parametrize(("content", "form"), [(VCD, "VCD"), (CSV, "CSV"), (DUMP, "board dump")])
def test_a_wrong_suffix_does_no_harm(tmp_path, name, content, form):
    path = written(tmp_path, content, name)
    assert open_capture(path).form == form
    assert read(path) == FORWARD


def test_a_session_file_is_known_by_its_first_bytes(tmp_path):
    assert open_capture(session(tmp_path).rename(tmp_path / "a.csv")).form == "session file"


@pytest.mark.parametrize(
    ("content", "sentence"),
    [
        (b"", "capture: it is empty"),
        (b" \r\n\n", "capture: it is empty"),
        (gzip.compress(VCD.encode()), "capture: it is compressed with gzip, allowed is the unpacked file"),
        (CSV.encode("utf-16"), "capture: it is UTF-16 text, allowed is UTF-8"),
        (
            b"\x7fELF\x02\x01\x01\0\0",
            "capture: it is no text and no zip, so no capture that can be read here",
        ),
    ],
)
def test_what_is_no_capture_is_refused(tmp_path, content, sentence):
    with pytest.raises(RequestError) as refusal:
        open_capture(written(tmp_path, content))
    assert str(refusal.value) == sentence


def test_no_file_a_folder_and_a_pipe_are_refused(tmp_path):
    os.mkfifo(tmp_path / "pipe")
    for name, reason in (
        ("none", "there is no such file"),
        (".", "this is a directory, a file is wanted"),
        ("pipe", "this is not an ordinary file"),
    ):
        with pytest.raises(RequestError, match=reason):
            open_capture(tmp_path / name)


def test_a_file_that_vanishes_while_it_is_open_is_refused(tmp_path):
    for content in (VCD, CSV, DUMP):
        path = written(tmp_path, content)
        capture = open_capture(path)
        path.unlink()
        with pytest.raises(RequestError, match="there is no such file"):
            edges_of(capture)
