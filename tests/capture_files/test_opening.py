"""The content decides what a file is; a file that can't be a capture is refused in a sentence."""

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
        (CSV.encode("utf-16"), "capture: it is UTF-16 text, allowed is UTF-8"),
        (
            b"\x7fELF\x02\x01\x01\0\0",
            "capture: it is neither text nor zip, allowed is a capture file",
        ),
    ],
)
def test_what_is_no_capture_is_refused(tmp_path, content, sentence):
    with pytest.raises(RequestError) as refusal:
        open_capture(written(tmp_path, content))
    assert str(refusal.value) == sentence


@pytest.mark.parametrize("content", [VCD, CSV, DUMP])
def test_a_file_compressed_with_gzip_is_read_as_the_file_in_it(tmp_path, content):
    assert read(written(tmp_path, gzip.compress(content.encode()), "a.gz")) == FORWARD


def test_a_gzip_file_that_is_cut_off_is_refused(tmp_path):
    path = written(tmp_path, gzip.compress(VCD.encode())[:-9], "a.vcd.gz")
    with pytest.raises(RequestError, match="its gzip data are broken or cut off"):
        open_capture(path)


def test_a_byte_order_mark_before_vcd_is_passed_over(tmp_path):
    assert read(written(tmp_path, b"\xef\xbb\xbf" + VCD.encode(), "a.vcd")) == FORWARD


SAMPLES = "crank_a,crank_b\n0,0\n1,0\n1,0\n1,1\n0,1\n"


@pytest.mark.parametrize(
    "comment", ["; Samplerate: 1 kHz", "# samplerate = 1000 Hz", "; Samplerate: 0.001 MHz"]
)
def test_samples_without_times_are_read_by_the_rate_in_a_comment(tmp_path, comment):
    path = written(tmp_path, f"{comment}\n{SAMPLES}", "a.csv")
    assert read(path) == [(0, 0), (1_000_000, 1), (3_000_000, 3), (4_000_000, 2)]
    assert open_capture(path).channels == ("crank_a", "crank_b")


def test_samples_without_times_are_read_by_the_rate_that_is_told(tmp_path):
    path = written(tmp_path, SAMPLES.partition("\n")[2], "a.csv")
    found = edges_of(open_capture(path, samplerate_hz=500))
    assert [at_ns for at_ns, _ in found] == [0, 2_000_000, 6_000_000, 8_000_000]


def test_a_rate_beside_times_is_refused(tmp_path):
    with pytest.raises(RequestError, match="--samplerate is given, allowed is a CSV file of levels"):
        open_capture(written(tmp_path, CSV, "a.csv"), samplerate_hz=500)


def test_a_row_that_is_no_row_of_levels_ends_the_reading_and_is_named(tmp_path):
    capture = open_capture(written(tmp_path, f"; Samplerate: 1 kHz\n{SAMPLES}0,0,1\n", "a.csv"))
    list(capture.chunks())
    assert "line 8: '0,0,1' is not a row of 2 levels" in capture.damage


def test_no_file_a_folder_and_a_pipe_are_refused(tmp_path):
    os.mkfifo(tmp_path / "pipe")
    for name, reason in (
        ("none", "there is no such file"),
        (".", "this is a directory, allowed is a file"),
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
