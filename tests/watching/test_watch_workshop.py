"""Requests to a standing board: settings, changes, the fault, its last edges; refusals in one sentence."""

import pytest

from host_sim.capture.open_capture import open_capture
from host_sim.errors import RequestError
from host_sim.rig.rig import BEFORE_WRAP_US, WRAP_US
from host_sim.watching.workshop import BoardTrouble, Workshop, check_capture, parse_changes
from tests.unit.test_console import Line, Session


def test_changes_are_read_by_name_and_range():
    assert parse_changes(["engage_rpm=25", "power_limit_w=0"]) == {"engage_rpm": 25, "power_limit_w": 0}


@pytest.mark.parametrize(
    ("word", "sentence"),
    [
        ("engage_rpm", '--set is "engage_rpm", allowed is NAME=VALUE'),
        ("engage_rmp=25", '--set names "engage_rmp", did you mean engage_rpm?'),
        ("engage_rpm=61", '--set engage_rpm is "61", allowed is a whole number, 5 to 60'),
        ("engage_rpm=4", '--set engage_rpm is "4", allowed is a whole number, 5 to 60'),
        ("engage_rpm=2.5", '--set engage_rpm is "2.5", allowed is a whole number, 5 to 60'),
        ("engage_rpm=" + "9" * 5_000, '--set engage_rpm is "999'),
    ],
)
def test_a_change_that_can_not_be_is_refused_before_the_board_is_asked(word, sentence):
    with pytest.raises(RequestError) as refusal:
        parse_changes([word])
    assert str(refusal.value).startswith(sentence)


def test_a_setting_named_twice_is_refused():
    with pytest.raises(RequestError, match="names engage_rpm twice"):
        parse_changes(["engage_rpm=20", "engage_rpm=21"])


def test_a_board_tells_and_takes_settings():
    session = Session()
    board = Workshop(Line(session))
    assert board.about() == {"board": "paper", "settings": "settings_a.txt, sequence 1"}
    assert board.settings()["assist_power_w"] == 240
    assert list(board.settings())[:2] == ["sensor_kind", "lead"]
    board.clear_fault()
    assert session.desk.rig.inputs.clear_requested
    board.change({"engage_rpm": 25})
    assert b"engage_rpm 25\n" in session.desk.paper.files["settings_b.txt"]


def test_the_last_edges_are_kept_as_a_capture_that_reads_back_the_same(tmp_path):
    session = Session()
    for number in range(50):
        session.desk.edges.record(number & 3, (BEFORE_WRAP_US + 500 * number) % WRAP_US)
        session.desk.edges.take()
    path = tmp_path / "edges.jsonl"
    assert Workshop(Line(session)).keep_edges(path, force=False) == 50
    capture = open_capture(path)
    chunks = list(capture.chunks())
    assert [time for chunk in chunks for time in chunk.times_ns] == [500_000 * number for number in range(50)]
    assert [level for chunk in chunks for level in chunk.levels] == [number & 3 for number in range(50)]
    assert (capture.form, capture.channels, capture.damage) == ("board dump", ("A", "B"), "")


def test_a_crank_that_never_moved_leaves_no_file(tmp_path):
    with pytest.raises(BoardTrouble, match="has recorded no crank edge"):
        Workshop(Line(Session())).keep_edges(tmp_path / "edges.jsonl", force=False)
    assert list(tmp_path.iterdir()) == []


def test_a_capture_that_exists_is_refused(tmp_path):
    path = tmp_path / "edges.jsonl"
    path.write_text("mine")
    with pytest.raises(RequestError, match="exists already, allowed is another --capture, or --force"):
        check_capture(path, force=False)
    with pytest.raises(RequestError, match="is a directory, allowed is a file for --capture"):
        check_capture(tmp_path, force=True)
    check_capture(path, force=True)


def test_a_moving_board_refuses_in_one_sentence(tmp_path):
    board = Workshop(Line(Session(), resting=False))
    assert board.about()["board"] == "paper"
    assert board.settings()["engage_rpm"] == 20
    path = tmp_path / "edges.jsonl"
    for ask in (
        board.clear_fault,
        lambda: board.change({"engage_rpm": 25}),
        lambda: board.keep_edges(path, False),
    ):
        with pytest.raises(BoardTrouble, match=r"^the board refuses to .*: the bicycle must stand"):
            ask()


def test_a_pair_of_settings_that_does_not_ascend_is_refused_by_the_board():
    with pytest.raises(BoardTrouble, match=r"refuses to change its settings: .*release_rpm"):
        Workshop(Line(Session())).change({"engage_rpm": 10, "release_rpm": 20})


class Says:
    """A port that answers every request with the same bytes."""

    def __init__(self, said: bytes) -> None:
        self.said = said
        self.writes = 0

    def read(self, size: int = 1, /) -> bytes:
        return self.said if self.writes > 1 else b""

    def write(self, data: bytes, /) -> int:
        self.writes += 1
        return len(data)

    def close(self) -> None: ...


@pytest.mark.parametrize(
    ("said", "sentence"),
    [
        (b"", "did not answer when asked to tell about itself: is this the port"),
        (b'{"ok": "about"}\n', "its answer can't be read"),
        (b'{"refused": "\\u001b[2Jno"}\n', r"refuses to tell about itself: \?\[2Jno"),
    ],
)
def test_a_board_that_answers_nonsense_or_nothing_is_told_in_one_sentence(said, sentence):
    with pytest.raises(BoardTrouble, match=sentence):
        Workshop(Says(said)).about()


def test_edges_that_are_none_are_no_capture(tmp_path):
    for said in (
        b'{"ok": "edges"}\n',
        b'{"ok": "edges", "edges": 5}\n',
        b'{"ok": "edges", "edges": [], "left": 0}\n',
    ):
        with pytest.raises(BoardTrouble):
            Workshop(Says(said)).keep_edges(tmp_path / "edges.jsonl", force=False)
    assert list(tmp_path.iterdir()) == []


def test_a_port_that_goes_away_meanwhile_is_told():
    class Gone(Says):
        def read(self, size: int = 1, /) -> bytes:
            raise OSError(5, "Input/output error")

    with pytest.raises(BoardTrouble, match="the port was lost when the board was asked to tell its settings"):
        Workshop(Gone(b"")).settings()
