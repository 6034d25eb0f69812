"""Session files: what another program wrote, many forms of metadata, and archives that are broken."""

import zipfile
from pathlib import Path

import pytest

from host_sim.capture import session_reader
from host_sim.capture.open_capture import open_capture
from host_sim.errors import RequestError
from tests.capture_files.making import FORWARD, METADATA, SAMPLES, edges_of, read, session

ELSEWHERE = Path(__file__).parent / "written_elsewhere"


@pytest.mark.parametrize(("name", "form"), [("ride.sr", "session file"), ("ride.vcd", "VCD")])
def test_files_that_another_program_wrote_hold_the_same_edges(name, form):
    # Written by libsigrok 0.5.2, see the README beside them.
    capture = open_capture(ELSEWHERE / name)
    assert (capture.form, capture.channels) == (form, ("channel_a", "channel_b"))
    edges = edges_of(capture)
    assert edges == read(ELSEWHERE / "ride.csv")
    assert len(edges) == 87
    assert edges[:3] == [(0, 0), (3_056_264_000, 1), (3_092_095_000, 3)]
    assert (capture.damage, capture.duration_ns) == ("", 6_000_000_000)


def test_samples_come_as_edges_wherever_the_pieces_end(tmp_path, monkeypatch):
    for cut in range(1, len(SAMPLES)):
        path = session(tmp_path, (SAMPLES[:cut], SAMPLES[cut:]))
        capture = open_capture(path)
        assert edges_of(capture) == FORWARD
        assert (capture.damage, capture.duration_ns) == ("", 41_000_000)
    monkeypatch.setattr(session_reader, "BLOCK_BYTES", 1)
    assert read(path) == FORWARD


def test_pieces_are_taken_by_their_number_not_by_their_name(tmp_path):
    pieces = [bytes([number % 2]) for number in range(12)]
    assert read(session(tmp_path, pieces))[-1] == (11_000_000, 1)
    assert len(read(session(tmp_path, pieces))) == 12


def test_channels_are_bits_of_samples_of_several_bytes(tmp_path):
    metadata = METADATA.replace("probes=2", "probes=16").replace("unitsize=1", "unitsize=2")
    metadata = metadata.replace("probe1=A", "probe1=A\nprobe9=index\nprobe16=far")
    path = session(tmp_path, (b"\0\0", b"\1\x80\3\x81"), metadata)
    assert read(path, ("far", "index")) == [(0, 0), (1_000_000, 1), (2_000_000, 3)]
    assert read(path, ("B", "A")) == [(0, 0), (1_000_000, 2), (2_000_000, 3)]
    with pytest.raises(RequestError) as refusal:
        open_capture(path)
    assert str(refusal.value) == (
        "capture: it has 4 channels, allowed is --channels with one or two of A, B, index, far"
    )


@pytest.mark.parametrize(
    ("rate", "second_ns"),
    [("1 kHz", 1_000_000), ("24 MHz", 42), ("1500000", 667), ("2.5 MHz", 400), ("1 GHz", 1), ("1hz", 10**9)],
)
def test_the_sample_rate_is_read_with_its_unit(tmp_path, rate, second_ns):
    assert read(session(tmp_path, (b"\0\1",), METADATA.replace("1 kHz", rate)))[-1] == (second_ns, 1)


def test_a_session_of_the_first_version_has_one_piece(tmp_path):
    path = tmp_path / "capture"
    with zipfile.ZipFile(path, "w") as archive:
        archive.writestr("version", "1")
        archive.writestr("metadata", METADATA)
        archive.writestr("logic-1", SAMPLES)
    assert read(path) == FORWARD


def test_a_missing_piece_is_damage(tmp_path):
    capture = open_capture(session(tmp_path, (SAMPLES[:15], SAMPLES[15:]), numbers=(1, 3)))
    assert edges_of(capture) == FORWARD[:2]
    assert capture.damage == "capture logic-1-2 is missing; what follows is not read"


def test_half_a_sample_is_damage(tmp_path):
    capture = open_capture(session(tmp_path, (b"\1\0\1",), METADATA.replace("unitsize=1", "unitsize=2")))
    assert edges_of(capture) == [(0, 1)]
    assert capture.damage == "capture logic-1-1: it ends inside a sample; what follows is not read"


def test_samples_that_do_not_fit_their_checksum_are_damage(tmp_path, monkeypatch):
    monkeypatch.setattr(session_reader, "BLOCK_BYTES", 4_000)
    path = tmp_path / "capture"
    with zipfile.ZipFile(path, "w", zipfile.ZIP_STORED) as archive:
        archive.writestr("version", "2")
        archive.writestr("metadata", METADATA)
        archive.writestr("logic-1-1", SAMPLES[:40] * 500)
    content = path.read_bytes()
    path.write_bytes(content.replace(SAMPLES[:40], b"\1" + SAMPLES[1:40], 1))
    capture = open_capture(path)
    edges = edges_of(capture)
    assert edges[:2] == [(0, 1), (1_000_000, 0)]
    assert len(edges) >= 1_600
    assert capture.damage == (
        "capture logic-1-1: it is broken (its checksum does not fit), its last samples are in doubt"
    )


def test_a_file_that_is_cut_off_is_refused(tmp_path):
    path = session(tmp_path)
    path.write_bytes(path.read_bytes()[:-30])
    with pytest.raises(RequestError) as refusal:
        open_capture(path)
    assert str(refusal.value) == (
        "capture: no session file can be read from it, it is a zip that is broken or cut off"
    )


@pytest.mark.parametrize(
    ("metadata", "version", "sentence"),
    [
        (METADATA, "3", "its version is '3', allowed is 1 or 2"),
        ("no INI", "2", "its metadata are not INI text"),
        ("[global]\n", "2", "its metadata describe no device"),
        (METADATA.replace("1 kHz", "0 Hz"), "2", "its samplerate is '0 Hz', allowed is 1 Hz to 9 GHz"),
        (METADATA.replace("1 kHz", "fast"), "2", "its samplerate is 'fast', allowed is 1 Hz to 9 GHz"),
        (METADATA.replace("samplerate=1 kHz", ""), "2", "its samplerate is '', allowed is 1 Hz to 9 GHz"),
        (METADATA.replace("unitsize=1", "unitsize=0"), "2", "its unitsize is '0', allowed is 1 to 64"),
        (METADATA.replace("=logic-1", "=logic-2"), "2", "there are no samples of logic channels in it"),
        (METADATA.replace("probe", "nothing"), "2", "it has 0 channels, allowed is --channels with "
         "one or two of another file"),
    ],
)  # fmt: skip
def test_metadata_that_make_no_sense_are_refused(tmp_path, metadata, version, sentence):
    with pytest.raises(RequestError) as refusal:
        open_capture(session(tmp_path, metadata=metadata, version=version))
    assert str(refusal.value) == f"capture: {sentence}"


def test_another_zip_is_refused(tmp_path):
    path = tmp_path / "holiday.sr"
    with zipfile.ZipFile(path, "w") as archive:
        archive.writestr("picture.png", b"")
    with pytest.raises(RequestError) as refusal:
        open_capture(path)
    assert str(refusal.value) == (
        "holiday.sr: it is a zip without 'version' and 'metadata', so it is not a session file"
    )


def test_samples_without_any_are_refused(tmp_path):
    with pytest.raises(RequestError, match=r"^capture: no level of A and B is in it$"):
        edges_of(open_capture(session(tmp_path, (b"",))))
