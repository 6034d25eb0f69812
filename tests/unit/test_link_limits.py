"""The link exactly at its limits: the last character that is taken, the microsecond when a frame is due."""

import json

import pytest

from firmware.link.store import Store, encode
from firmware.settings import Settings
from tests.unit.test_console import Desk, Paper, Session, frames_in, lines_in
from tests.unit.test_telemetry import Sender

UNPRINTABLE = "a request is one line of at most 400 printable ASCII characters"


def refusal(line: bytes) -> str:
    return Desk().ask_bytes(line)[0]["refused"]


# The console.


def test_a_line_of_one_character_is_answered():
    assert refusal(b"1") == "at character 1 there must be {"


@pytest.mark.parametrize(("value", "printable"), [(31, False), (32, True), (126, True), (127, False)])
def test_printable_is_from_space_to_tilde(value, printable):
    assert (refusal(bytes([value])) == UNPRINTABLE) is not printable


@pytest.mark.parametrize(("length", "reason"), [(40, "request must be one of"), (41, "a text of at most 40")])
def test_a_text_has_at_most_40_characters(length, reason):
    assert reason in refusal(json.dumps({"request": "x" * length}).encode())


def test_what_a_storage_says_is_quoted_whatever_it_holds():
    desk = Desk()

    def write(name: str, content: bytes) -> None:
        raise OSError('no "disk" in C:\\')

    desk.paper.write = write  # type: ignore[method-assign]
    answer = desk.ask({"request": "set", "settings": {"engage_rpm": 25}})
    assert answer[0]["refused"].endswith('the old ones stay: no "disk" in C:\\')


def test_an_answer_that_is_refused_half_way_is_over():
    desk = Desk()
    for number in range(13):
        desk.edges.record(0, number)
        desk.edges.take()
    desk.hear(b'{"request": "edges"}\n')
    desk.console.next_line(True)
    assert desk.console.replying
    assert b"refused" in desk.console.next_line(False)
    assert not desk.console.replying


@pytest.mark.parametrize("end", [b"", b"\r"])
@pytest.mark.parametrize(
    ("length", "heard"), [(399, True), (400, True), (401, False), (402, False), (403, False)]
)
def test_a_line_of_400_characters_is_heard_with_either_line_end_and_a_longer_one_is_not(length, heard, end):
    desk = Desk()
    line = b'{"request": "clear"}'
    (answer,) = desk.ask_bytes(line + b" " * (length - len(line)) + end)
    assert (answer == {"ok": "clear"}) is heard
    assert answer["refused"] == UNPRINTABLE if not heard else True
    assert desk.ask_bytes(line) == [{"ok": "clear"}]


@pytest.mark.parametrize("length", [1_000, 804, 805, 806, 10_000])
def test_a_line_that_was_forgotten_while_it_came_leaves_nothing_behind(length):
    desk = Desk()
    (answer,) = desk.ask_bytes(b"x" * length)
    assert answer == {"refused": UNPRINTABLE}
    assert desk.ask_bytes(b"\r") == []
    assert desk.ask_bytes(b'{"request": "clear"}') == [{"ok": "clear"}]


# Turns.


def test_frames_say_whether_the_settings_are_valid():
    session = Session()
    assert frames_in(session.turn(100))[0].settings_valid


def until_idle(session: Session) -> int:
    """Let the first frame be sent, and return when the next one is due."""
    session.turn(40)
    assert session.talk._stage == 0
    return session.talk._due_us


@pytest.mark.parametrize(("early_us", "frames"), [(1, 0), (0, 1)])
def test_a_frame_begins_in_the_microsecond_in_which_it_is_due(early_us, frames):
    session = Session()
    session.now_us = until_idle(session) - early_us
    assert len(frames_in(session.turn(11, each_us=0))) == frames


def test_a_frame_that_is_a_whole_period_late_is_not_followed_by_another_at_once():
    session = Session()
    session.now_us = until_idle(session) + 50_000
    assert len(frames_in(session.turn(40, each_us=0))) == 1


def test_a_refusal_while_riding_takes_no_time_that_only_a_rest_allows():
    session = Session()
    until_idle(session)
    session.cable.to_board += b"x\n"
    took_time = []
    for _ in range(6):
        took_time.append(session.talk.pump(False, session.now_us))
    assert took_time == [False] * 6
    assert "refused" in lines_in(session.turn(10, False, each_us=0))[0]


def test_a_zero_byte_is_a_byte_and_no_end():
    session = Session()
    session.cable.to_board += b"\0\n" + b'{"request": "about"}\n'
    lines = lines_in(session.turn(400))
    assert [next(iter(line)) for line in lines] == ["notice", "refused", "ok"]


# Frames.


def test_a_check_sum_that_ends_in_zero_is_stuffed_too():
    sender = Sender()
    frames = [sender.bytes(now_us=time_us) for time_us in range(2_000)]
    assert all(0 not in sent[1:-1] for sent in frames)
    assert any(sent[-2] == 1 for sent in frames), "no check sum ended in zero"


def test_two_flags_at_once_are_two_flags():
    sender = Sender()
    sender.rig.inputs.brake_pulled = True
    sender.rig.controller.outputs.drive_enabled = True
    frame = sender.frame()
    assert (frame.brake_pulled, frame.drive_enabled) == (True, True)


@pytest.mark.parametrize(("decicelsius", "sent"), [(-32_768, -3_276.8), (-32_769, -3_276.8)])
def test_the_lowest_temperature_is_that_of_16_bits(decicelsius, sent):
    sender = Sender()
    sender.rig.inputs.motor_decicelsius = decicelsius
    assert sender.frame().motor_celsius == pytest.approx(sent)


def test_a_byte_holds_at_most_255():
    sender = Sender()
    sender.rig.controller.crank.levels = 0
    sender.edges.levels = 256
    assert sender.frame().levels == 255


def test_nothing_is_sent_as_nothing():
    sender = Sender()
    sender.rig.controller.crank.pitch_us = 0
    assert sender.frame().pitch_s == 0.0


# The store.


def test_a_store_that_has_saved_has_nothing_to_complain_about():
    store = Store(Paper())
    store.load()
    assert store.refusal != ""
    store.save(Settings({}))
    assert store.refusal == ""


def test_a_store_at_its_last_number_says_so():
    paper = Paper()
    paper.files["settings_a.txt"] = encode(Settings({}), 999_999_999, paper)
    store = Store(paper)
    store.load()
    with pytest.raises(OSError, match=r"^the slots have been written too often$"):
        store.save(Settings({}))
