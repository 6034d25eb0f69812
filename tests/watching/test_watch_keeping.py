"""All that arrives is stored: losses by their numbers, levels without overlap, a row for each frame."""

import csv
import errno
import os
from dataclasses import fields
from pathlib import Path

import pytest

from host_sim.boardlink.frames import Frame
from host_sim.errors import RequestError
from host_sim.watching.lost_frames import LostFrames
from host_sim.watching.record_file import COLUMNS, Reception, RecordFile, RecordingFailed
from host_sim.watching.samples import Samples
from host_sim.watching.watched import Watched
from tests.watching.frames_at_hand import PEDALLED, frame_with, frames

ON_TIME = Reception(1.5, 1, 0, "")


def taken(*numbers: int) -> tuple[int, str]:
    lost = LostFrames()
    for at, number in enumerate(numbers):
        lost.take(number, at * 0.05)
    return lost.count, lost.names


def test_frames_in_a_row_are_not_lost_across_the_end_of_their_numbers():
    assert taken(254, 255, 0, 1) == (0, "")


def test_lost_frames_are_counted_and_named():
    assert taken(7, 9) == (1, "8")
    assert taken(7, 11) == (3, "8 to 10")
    assert taken(253, 3) == (5, "254 to 2")


def test_after_a_pause_in_which_numbers_could_have_gone_round_the_count_is_at_least():
    for pause_s, names in ((12.75, "8"), (12.8, "at least 8")):
        lost = LostFrames()
        lost.take(7, 0.0)
        assert lost.take(9, pause_s) == 1
        assert lost.names == names


def test_a_pause_without_a_gap_in_the_numbers_is_no_loss():
    lost = LostFrames()
    lost.take(7, 0.0)
    assert lost.take(8, 60.0) == 0


def test_a_board_that_starts_anew_has_lost_nothing():
    lost = LostFrames()
    lost.take(200, 0.0)
    lost.forget()
    assert lost.take(0, 0.1) == 0
    assert lost.take(2, 0.2) == 1


def test_levels_of_overlapping_frames_come_once_each():
    samples = Samples()
    first = frame_with(steps=65_530, level_samples=(0, 0, 0, 0, 0, 0, 0, 0, 1, 1, 3, 3))
    second = frame_with(steps=4, level_samples=(3, 3, 2, 2, 2, 2, 0, 0, 0, 0, 1, 1))
    assert samples.new_in(first) == [0, 0, 0, 0, 0, 0, 0, 0, 1, 1, 3, 3]
    assert samples.new_in(second) == [2, 2, 2, 2, 0, 0, 0, 0, 1, 1]


def test_levels_that_no_frame_brought_are_missing_and_not_made_up():
    samples = Samples()
    samples.new_in(frame_with(steps=100))
    assert samples.new_in(frame_with(steps=115))[:4] == [None, None, None, 0]
    assert samples.new_in(frame_with(steps=60_000)).count(None) == 1_000
    samples.forget()
    assert None not in samples.new_in(frame_with(steps=90))


def rows_of(path):
    with path.open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


def test_a_row_says_all_that_the_frame_said_and_how_it_arrived(tmp_path):
    path = tmp_path / "ride.csv"
    with RecordFile(path, force=False) as record:
        record.write(PEDALLED, Reception(12.345678, 2, 3, "254 to 0"))
        record.write(frame_with(fault='a "fault", with a comma', brake_pulled=True), ON_TIME)
    first, second = rows_of(path)
    assert tuple(first) == COLUMNS
    assert COLUMNS[4:] == tuple(field.name for field in fields(Frame))
    assert first["received_s"] == "12.345678"
    assert (first["connection"], first["lost"], first["lost_numbers"]) == ("2", "3", "254 to 0")
    assert (first["speed_m_per_s"], first["share"], first["pitch_s"]) == ("5", "0.75", "0.083")
    assert (first["power_w"], first["cadence_rpm"], first["command_v"]) == ("180", "60", "2.25")
    assert (first["level_samples"], first["brake_pulled"], first["drive_enabled"]) == (
        "001133220011",
        "0",
        "1",
    )
    assert (second["fault"], second["brake_pulled"]) == ('a "fault", with a comma', "1")


def test_each_row_is_in_the_file_as_soon_as_it_is_written(tmp_path):
    path = tmp_path / "ride.csv"
    with RecordFile(path, force=False) as record:
        for count, frame in enumerate(frames(3), 1):
            record.write(frame, ON_TIME)
            assert len(rows_of(path)) == count == record.frames


def test_a_record_without_a_frame_leaves_no_file(tmp_path):
    with RecordFile(tmp_path / "ride.csv", force=False):
        assert (tmp_path / "ride.csv").exists()
    assert list(tmp_path.iterdir()) == []


def test_a_file_that_exists_is_refused_and_with_force_replaced_by_the_first_frame(tmp_path):
    path = tmp_path / "ride.csv"
    path.write_text("an older and much longer record" * 100)
    with pytest.raises(
        RequestError, match=r"ride\.csv exists already, allowed is another --record, or --force"
    ):
        RecordFile(path, force=False)
    with RecordFile(path, force=True):
        pass
    assert path.read_text() == "an older and much longer record" * 100
    with RecordFile(path, force=True) as record:
        record.write(PEDALLED, ON_TIME)
    assert len(rows_of(path)) == 1


@pytest.mark.parametrize("name", ["nowhere/ride.csv", "ride\0.csv", "folder"])
def test_a_file_that_can_not_be_is_refused_in_one_sentence(tmp_path, name):
    (tmp_path / "folder").mkdir()
    with pytest.raises(RequestError, match="allowed is another --record") as refusal:
        RecordFile(tmp_path / name, force=True)
    assert "\n" not in str(refusal.value)


def test_a_full_disk_ends_the_record_after_its_last_whole_row(tmp_path, monkeypatch):
    path = tmp_path / "ride.csv"
    write = os.write
    with RecordFile(path, force=False) as record:
        record.write(PEDALLED, ON_TIME)
        whole = path.read_bytes()

        def half(file, row):
            """Write the first bytes of a row, and then fail."""
            if path.read_bytes() == whole:
                return write(file, row[:20])
            raise OSError(errno.ENOSPC, "No space left on device")

        monkeypatch.setattr(os, "write", half)
        with pytest.raises(
            RecordingFailed, match=r"can't be written any more \(No space left .*: it has the 1 frames before"
        ):
            record.write(PEDALLED, ON_TIME)
    assert path.read_bytes() == whole


def test_every_frame_counts_and_what_happened_is_noted():
    watched = Watched()
    watched.opened("port", 0.0)
    for at, frame in enumerate([*frames(3), *frames(2, first=5)]):
        watched.take(frame, at * 0.05)
    watched.take(frame_with(number=7, steps=82, fault="throttle wire open"), 0.4)
    watched.take(frame_with(number=8, steps=92, fault="throttle wire open"), 0.45)
    assert (watched.frames, watched.lost.count) == (7, 2)
    assert [one.text for one in watched.happenings] == [
        "2 frames lost, numbers 3 to 4",
        "fault: throttle wire open",
    ]


def test_a_port_that_was_away_is_no_loss_of_the_link():
    watched = Watched()
    watched.opened("port", 0.0)
    watched.take(frame_with(number=9), 1.0)
    watched.gone(2.0)
    watched.opened("port", 5.5)
    reception = watched.take(frame_with(number=200), 6.0)
    assert reception == Reception(6.0, 2, 0, "")
    assert watched.away_s == 3.5
    assert [one.text for one in watched.happenings][-1] == "the port is back after 3.5 s"


def test_lines_of_the_board_are_shown_without_what_could_drive_a_terminal():
    watched = Watched()
    watched.text("Trace\x1b[2Jback \u202e" + "x" * 500, 1.0)
    text = watched.happenings[-1].text
    assert text.startswith("the board says: Trace?[2Jback ?xxx")
    assert len(text) < 200


def test_the_notice_of_a_start_joins_nothing_to_what_was():
    watched = Watched()
    watched.learnt({"board": "desk"}, {"engage_rpm": 20, "pulses_per_rev": 12})
    watched.take(frame_with(number=90), 1.0)
    watched.text('{"notice": "settings: settings_a.txt, sequence 2"}', 1.1)
    assert watched.settings == {}
    assert watched.take(frame_with(number=0, steps=10), 1.2).lost == 0
    assert watched.happenings[-1].text == "the board started: settings: settings_a.txt, sequence 2"


def test_a_hostile_answer_about_settings_is_taken_for_what_it_is():
    watched = Watched()
    watched.learnt({"board": "\x07desk"}, {"engage_rpm": "20", "pulses_per_rev": True, "lead": 1})
    assert watched.settings == {"lead": 1}
    assert watched.board == "?desk"


def test_the_readme_names_every_column_of_the_record():
    text = (Path(__file__).parents[2] / "host_sim" / "watching" / "README.md").read_text(encoding="utf-8")
    assert [name for name in COLUMNS if f"`{name}`" not in text] == []
