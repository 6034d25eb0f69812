"""The console answers what it knows, refuses everything else with a reason, and then has changed nothing."""

import json
import zlib
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from firmware.link.block_ring import LEAST_BLOCKS
from firmware.link.console import GO_ON, LINE_MAX, MAINTENANCE, START_ANEW, Console
from firmware.link.history import RememberedEdges
from firmware.link.port import PIECE_SIZE, Port
from firmware.link.recorder import Recorder
from firmware.link.recording import Recording
from firmware.link.requests import parse
from firmware.link.store import Storage, Store
from firmware.link.stream import Stream
from firmware.link.talk import Talk
from firmware.link.writing import BLOCK_SIZE
from firmware.loop import LoopCounters, run
from firmware.records import Inputs, Outputs
from firmware.settings import TABLE, Settings
from host_sim.boardlink.console_client import BoardRefusal, BoardSilent, ConsoleClient, open_port
from host_sim.boardlink.frames import Frame, Wire
from host_sim.errors import RequestError
from host_sim.rig.rig import BEFORE_WRAP_US, WRAP_US, Rig
from tests.unit.test_loop import Counted, PaperBoard, Unplugged

NO_REQUEST = (
    "request must be one of about, settings, set, clear, edges, start, maintenance, "
    "stream, stream all, freeze, release"
)
MOVING = {"refused": "the bicycle must stand, and nothing may drive"}


class Paper(Storage):
    """Files in memory, that can be write-protected."""

    def __init__(self) -> None:
        self.files: dict[str, bytes] = {}
        self.protected = False

    def read(self, name: str) -> bytes:
        return self.files.get(name, b"")

    def write(self, name: str, content: bytes) -> None:
        if self.protected:
            raise OSError("the disk is write-protected")
        self.files[name] = content

    def crc32(self, content: bytes) -> int:
        return zlib.crc32(content)


def small_ring() -> list[bytearray]:
    """Return as few blocks as a recorder may have."""
    return [bytearray(BLOCK_SIZE) for _ in range(LEAST_BLOCKS)]


class Desk:
    """A console with everything round it. `stored` starts it with a valid slot."""

    def __init__(self, stored: bool = True) -> None:
        self.paper = Paper()
        self.store = Store(self.paper)
        self.store.load()
        if stored:
            self.store.save(Settings({"assist_power_w": 240}))
            self.store.load()
        self.rig = Rig(Settings({"assist_power_w": 240}))
        self.edges = RememberedEdges()
        self.rig.inputs.crank = self.edges
        self.console = Console(
            self.rig.controller, self.rig.inputs, self.edges, self.store, "paper", self.recording()
        )

    def recording(self) -> Recording:
        """Return a recorder in a small ring, ready to be asked."""
        self.recorder = Recorder(self.rig.controller, self.rig.inputs, small_ring(), 0)
        return Recording(self.recorder, Stream(self.recorder.ring))

    def ask_bytes(self, line: bytes) -> list[dict[str, Any]]:
        """Send a line and its end; return all lines of the answer."""
        self.hear(line + b"\n")
        answers = []
        while self.console.waiting or self.console.replying:
            answers.append(json.loads(self.console.next_line(True)))
        return answers

    def hear(self, came: bytes) -> None:
        """Let these bytes come in, a line at most."""
        cable = Cable()
        cable.to_board += came
        while cable.to_board:
            assert not self.console.waiting
            self.console.read(cable)

    def ask(self, request: object) -> list[dict[str, Any]]:
        return self.ask_bytes(json.dumps(request).encode())

    def state(self) -> tuple[object, ...]:
        """Return all that a request can change."""
        inputs = self.rig.inputs
        return (dict(self.paper.files), self.store.sequence, inputs.clear_requested, self.console.ending)


# What it knows.


def test_about_names_the_board_and_the_settings_in_force():
    assert Desk().ask({"request": "about"}) == [
        {"ok": "about", "board": "paper", "frame": 2, "settings": "settings_a.txt, sequence 1"}
    ]


def test_a_board_without_a_valid_slot_says_so_at_once_and_when_asked():
    desk = Desk(stored=False)
    why = "none are valid, so the motor stays off "
    why += "(settings_a.txt: it is missing; settings_b.txt: it is missing)"
    assert json.loads(desk.console.greeting()) == {"notice": "settings: " + why}
    assert desk.ask({"request": "about"})[0]["settings"] == why


def test_all_settings_come_in_lines_of_six_that_say_how_many_are_left():
    answers = Desk().ask({"request": "settings"})
    assert [answer["left"] for answer in answers] == [*range(len(TABLE) - 6, 0, -6), 0]
    settings: dict[str, int] = {}
    for answer in answers:
        assert answer["ok"] == "settings"
        settings |= answer["settings"]
    assert settings == Settings({"assist_power_w": 240}).as_dict()


def test_a_changed_setting_is_stored_with_the_others_and_asks_for_a_new_start():
    desk = Desk()
    answers = desk.ask({"request": "set", "settings": {"engage_rpm": 25, "release_rpm": 15}})
    assert answers == [{"ok": "set", "slot": "settings_b.txt", "sequence": 2}]
    assert desk.console.ending == START_ANEW
    settings = Store(desk.paper).load()
    assert (settings.engage_rpm, settings.release_rpm, settings.assist_power_w) == (25, 15, 240)


def test_a_fault_is_cleared_by_an_explicit_wish():
    desk = Desk()
    assert desk.ask({"request": "clear"}) == [{"ok": "clear"}]
    assert desk.rig.inputs.clear_requested


def test_maintenance_ends_the_ride():
    desk = Desk()
    assert desk.ask({"request": "maintenance"}) == [{"ok": "maintenance"}]
    assert desk.console.ending == MAINTENANCE


def test_the_edges_come_as_levels_and_time_oldest_first():
    desk = Desk()
    for number in range(14):
        desk.edges.record(number & 3, 1_000 * number)
        desk.edges.take()
    answers = desk.ask({"request": "edges"})
    assert [answer["left"] for answer in answers] == [2, 0]
    assert answers[0]["edges"][:2] == [[0, 0], [1, 1_000]]
    assert answers[1]["edges"] == [[0, 12_000], [1, 13_000]]


def test_a_crank_that_never_moved_has_no_edges():
    assert Desk().ask({"request": "edges"}) == [{"ok": "edges", "edges": [], "left": 0}]


def test_edges_that_come_while_edges_are_read_out_do_not_shift_them():
    desk = Desk()
    for number in range(512):
        desk.edges.record(0, number)
        desk.edges.take()
    desk.hear(b'{"request": "edges"}\n')
    found = json.loads(desk.console.next_line(True))["edges"]
    while desk.console.replying:
        desk.edges.record(1, 9_999)
        desk.edges.take()
        found += json.loads(desk.console.next_line(True))["edges"]
    assert found == [[0, number] for number in range(512)]
    desk.edges.record(1, 9_999)
    desk.edges.take()
    assert desk.edges.time_us_at(511) == 9_999


# What it refuses.


@pytest.mark.parametrize(
    ("line", "reason"),
    [
        (b"hello", "at character 1 there must be {"),
        (b"[1]", "at character 1 there must be {"),
        (b'{"request" "clear"}', "at character 12 there must be :"),
        (b'{"request": "clear",}', 'at character 21 there must be "'),
        (b'{"request": "clear"', "at character 20 there must be ,"),
        (b'{"request": "clear"} x', "at character 22 there must be the end of the line"),
        (b'{"request": "clear", "request": "clear"}', "the name request appears twice"),
        (b'{"request": "clear}', "at character 14 there must be a text of at most 40 characters"),
        (
            b'{"request": "' + b"a" * 41 + b'"}',
            "at character 14 there must be a text of at most 40 characters",
        ),
        (b'{"request": "cl\\u0065ar"}', "at character 14 there must be a text without a backslash"),
        (b'{"request": true}', "at character 13 there must be a whole number of at most 9 digits"),
        (b'{"request": 01}', "at character 13 there must be a whole number of at most 9 digits"),
        (b'{"request": 1.5}', "at character 14 there must be ,"),
        (b'{"request": -}', "at character 13 there must be a whole number of at most 9 digits"),
        (b'{"request": 1234567890}', "at character 13 there must be a whole number of at most 9 digits"),
        (
            b"{}",
            NO_REQUEST,
        ),
        (
            b'{"request": "reboot"}',
            NO_REQUEST,
        ),
        (
            b'{"request": 1}',
            NO_REQUEST,
        ),
        (
            b'{"request": {}}',
            NO_REQUEST,
        ),
        (b'{"request": "clear", "now": 1}', "the request clear has no now"),
        (b'{"request": "clear", "settings": {}}', "the request clear has no settings"),
        (b'{"request": "set"}', "the request set needs settings, an object of names and whole numbers"),
        (
            b'{"request": "set", "settings": {}}',
            "the request set needs settings, an object of names and whole numbers",
        ),
        (
            b'{"request": "set", "settings": 5}',
            "the request set needs settings, an object of names and whole numbers",
        ),
        (
            b'{"request": "set", "settings": {"engage_rpm": "25"}}',
            "at character 47 there must be a whole number of at most 9 digits",
        ),
        (
            b'{"request": "set", "settings": {"engage_rpm": {"a": 1}}}',
            "at character 47 there must be a whole number of at most 9 digits",
        ),
        (b'{"request": "set", "settings": {"engage_rpm": 61}}', "engage_rpm must be 5 to 60, got 61"),
        (b'{"request": "set", "settings": {"engage_rpm": -1}}', "engage_rpm must be 5 to 60, got -1"),
        (b'{"request": "set", "settings": {"engage": 25}}', "there is no setting engage"),
        (
            b'{"request": "set", "settings": {"engage_rpm": 12}}',
            "release_rpm must be lower than engage_rpm, got 12 and 12",
        ),
        (b"\x00", "a request is one line of at most 400 printable ASCII characters"),
        (b'{"request": "cl\xc3\xa4r"}', "a request is one line of at most 400 printable ASCII characters"),
        (b" " * 401, "a request is one line of at most 400 printable ASCII characters"),
    ],
)
def test_a_refusal_says_why_and_changes_nothing(line, reason):
    desk = Desk()
    before = desk.state()
    assert desk.ask_bytes(line) == [{"refused": reason}]
    assert desk.state() == before


def test_an_echoed_name_cannot_break_out_of_the_answer():
    with pytest.raises(ValueError, match="backslash"):
        parse('{"a\\": 1}')
    assert Desk().ask_bytes(b'{"request": "set", "settings": {"{}[]:,": 1}}') == [
        {"refused": "there is no setting {}[]:,"}
    ]


def test_a_disk_that_does_not_take_the_settings_is_a_refusal_and_the_old_ones_stay():
    desk = Desk()
    desk.paper.protected = True
    before = desk.state()
    assert desk.ask({"request": "set", "settings": {"engage_rpm": 25}}) == [
        {
            "refused": "the settings could not be stored, the old ones stay: the disk is write-protected",
        }
    ]
    assert desk.state() == before


@pytest.mark.parametrize(("error", "words"), [(OSError(), "it failed"), (OSError(28), "error 28")])
def test_an_error_without_words_is_still_a_sentence(error, words):
    desk = Desk()

    def fail(name: str, content: bytes) -> None:
        raise error

    desk.paper.write = fail  # type: ignore[method-assign]
    answers = desk.ask({"request": "set", "settings": {"engage_rpm": 25}})
    assert answers == [{"refused": "the settings could not be stored, the old ones stay: " + words}]


def test_empty_lines_and_the_line_ends_of_terminals_are_no_requests():
    desk = Desk()
    assert desk.ask_bytes(b"") == []
    assert desk.ask_bytes(b'{"request": "clear"}\r') == [{"ok": "clear"}]


def test_after_a_line_that_was_too_long_the_next_one_is_heard():
    desk = Desk()
    assert LINE_MAX == 400
    assert "refused" in desk.ask_bytes(b"x" * 5_000)[0]
    assert desk.ask_bytes(b'{"request": "clear"}') == [{"ok": "clear"}]


def test_a_line_of_just_400_characters_is_heard():
    assert Desk().ask_bytes(b'{"request": "clear"}' + b" " * 380) == [{"ok": "clear"}]


HARMLESS = {"about", "settings", "edges"}


def names_a_request(line):
    """Tell whether a line is an object with a request, which a random search does find."""
    try:
        return "request" in json.loads(line)
    except (ValueError, TypeError):
        return False


@given(st.binary(max_size=500).filter(lambda line: b"\n" not in line and not names_a_request(line)))
def test_no_bytes_but_a_request_change_anything(line):
    desk = Desk()
    before = desk.state()
    for answer in desk.ask_bytes(line):
        assert "refused" in answer
    assert desk.state() == before


json_values = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats() | st.text(max_size=8),
    lambda inner: (
        st.lists(inner, max_size=3)
        | st.dictionaries(
            st.sampled_from(["request", "settings", "engage_rpm", "power_limit_w"]) | st.text(), inner
        )
    ),
    max_leaves=8,
)
requests = st.sampled_from(["about", "settings", "edges", "set", "clear", "maintenance"]) | json_values


@given(st.fixed_dictionaries({"request": requests}, optional={"settings": json_values, "x": json_values}))
def test_hostile_json_is_refused_or_is_exactly_what_it_asks_for(asked):
    desk = Desk()
    before = desk.state()
    answers = desk.ask(asked)
    assert answers
    if "refused" in answers[0]:
        assert desk.state() == before
        assert len(answers[0]["refused"]) > 15
    elif asked["request"] in HARMLESS:
        assert list(asked) == ["request"]
        assert desk.state() == before
    elif asked["request"] == "set":
        assert Store(desk.paper).load().as_dict() == {
            **Settings({"assist_power_w": 240}).as_dict(),
            **asked["settings"],
        }
    else:
        assert asked in ({"request": "clear"}, {"request": "maintenance"})


@given(
    st.dictionaries(
        st.sampled_from([row[0] for row in TABLE]), st.integers(-10, 110_000), min_size=1, max_size=4
    )
)
def test_settings_are_taken_whole_or_not_at_all(changes):
    desk = Desk()
    before = desk.state()
    values = {**Settings({"assist_power_w": 240}).as_dict(), **changes}
    answers = desk.ask({"request": "set", "settings": changes})
    try:
        legal: Settings | str = Settings(values)
        desk.store.place.check(Settings(values), Settings({"assist_power_w": 240}))
    except ValueError as error:
        legal = str(error)
    if isinstance(legal, str):
        assert answers == [{"refused": legal}]
        assert desk.state() == before
    else:
        assert Store(desk.paper).load().as_dict() == legal.as_dict()


@given(
    st.dictionaries(
        st.text("abc_ {}:,", max_size=10),
        st.integers(-(10**9) + 1, 10**9 - 1)
        | st.text("xyz 1", max_size=10)
        | st.dictionaries(st.text("ab", max_size=3), st.integers(0, 99), max_size=3),
        max_size=5,
    )
)
def test_what_is_read_is_what_the_standard_library_wrote(value):
    assert parse(json.dumps(value)) == value


# Turns between steps.


class Cable(Port):
    """Both ends of a cable in memory. It takes whole pieces, or at most `takes` bytes at a time."""

    def __init__(self) -> None:
        self.to_board = bytearray()
        self.to_host = bytearray()
        self.closed = False
        self.stuck = False
        self.takes = PIECE_SIZE
        self.written: list[int] = []  # How many bytes each call of `write` offered.

    def read(self, into: bytearray, start: int, end: int) -> int:
        count = min(end - start, (self.to_board.find(10) + 1) or len(self.to_board))
        into[start : start + count] = self.to_board[:count]
        del self.to_board[:count]
        return -1 if self.closed and count == 0 else count

    def write(self, unit: bytes | bytearray, start: int, end: int) -> int:
        if self.stuck:
            return 0
        self.written.append(end - start)
        taken = min(end - start, self.takes)
        self.to_host += unit[start : start + taken]
        return taken


class Session:
    """A talk on a cable; `turn` gives it turns without any loop."""

    def __init__(self) -> None:
        self.desk = Desk()
        self.cable = Cable()
        self.counters = LoopCounters()
        self.now_us = BEFORE_WRAP_US
        self.talk = Talk(
            self.cable,
            self.desk.rig.controller,
            self.desk.rig.inputs,
            self.desk.edges,
            self.counters,
            self.desk.store,
            "paper",
            1,
            small_ring(),
            self.now_us,
        )
        self.desk.console = self.talk.console
        self.wire = Wire()

    def turn(self, count: int, resting: bool = True, each_us: int = 500) -> list[Any]:
        """Give turns; return the frames, and the lines of text as objects, that came of them."""
        for _ in range(count):
            self.now_us = (self.now_us + each_us) % WRAP_US
            self.talk.pump(resting, self.now_us)
        found = self.wire.feed(bytes(self.cable.to_host))
        self.cable.to_host.clear()
        return [json.loads(item) if isinstance(item, str) else item for item in found]


def frames_in(found: list[Any]) -> list[Frame]:
    return [item for item in found if isinstance(item, Frame)]


def lines_in(found: list[Any]) -> list[dict[str, Any]]:
    return [item for item in found if isinstance(item, dict)]


def test_a_talk_begins_with_the_notice_of_its_settings():
    found = Session().turn(20)
    assert lines_in(found) == [{"notice": "settings: settings_a.txt, sequence 1"}]


def test_20_frames_a_second_are_sent_across_the_wrap_and_the_console_does_not_slow_them():
    session = Session()
    session.turn(100)
    session.cable.to_board += b'{"request": "settings"}\n'
    found = session.turn(2_000)
    assert len(frames_in(found)) == 20
    assert len(lines_in(found)) == (len(TABLE) + 5) // 6
    assert session.wire.damaged == 0


def test_frames_that_were_missed_are_not_made_up_in_a_burst():
    session = Session()
    session.turn(100)
    session.turn(1, each_us=1_000_000)
    assert len(frames_in(session.turn(99))) <= 2


def test_only_an_answer_counts_as_time_that_needs_a_rest():
    session = Session()
    session.turn(100)
    session.cable.to_board += b'{"request": "about"}\n'
    took_time = [session.talk.pump(True, session.now_us) for _ in range(40)]
    assert took_time.count(True) == 1


def test_while_something_moves_a_request_is_refused_and_nothing_happens():
    session = Session()
    before = session.desk.state()
    session.cable.to_board += b'{"request": "set", "settings": {"engage_rpm": 25}}\n{"request": "clear"}\n'
    found = session.turn(200, resting=False)
    assert lines_in(found)[1:] == [MOVING, MOVING]
    assert session.desk.state() == before


def test_an_answer_that_is_under_way_when_the_bicycle_moves_is_broken_off():
    session = Session()
    for number in range(100):
        session.desk.edges.record(0, number)
        session.desk.edges.take()
    session.turn(30)
    session.cable.to_board += b'{"request": "edges"}\n'
    lines = lines_in(session.turn(6) + session.turn(100, resting=False))
    assert lines[0]["ok"] == "edges"
    assert lines[-1] == MOVING
    assert not session.talk.console.replying
    session.desk.edges.record(1, 5_000)
    session.desk.edges.take()
    assert session.desk.edges.time_us_at(session.desk.edges.kept - 1) == 5_000


def test_a_host_that_does_not_read_stops_the_frames_and_nothing_else():
    session = Session()
    session.cable.stuck = True
    assert session.turn(1_000) == []
    session.cable.stuck = False
    assert len(frames_in(session.turn(400))) >= 3


def test_a_host_that_closed_is_not_listened_to_any_more():
    session = Session()
    session.cable.closed = True
    session.turn(200)
    session.cable.to_board += b'{"request": "clear"}\n'
    assert lines_in(session.turn(200)) == []
    assert len(frames_in(session.turn(400))) >= 3


def test_the_answer_to_set_is_sent_before_the_talk_is_over():
    session = Session()
    session.turn(30)
    session.cable.to_board += b'{"request": "set", "settings": {"engage_rpm": 25}}\nxxx'
    found = []
    for _ in range(300):
        assert session.talk.console.ending == GO_ON or not session.talk.must_end() or lines_in(found)
        found += session.turn(1)
    assert session.talk.must_end()
    assert lines_in(found) == [{"ok": "set", "slot": "settings_b.txt", "sequence": 2}]
    session.turn(20)
    assert session.cable.to_board == b"xxx"  # Nothing is read any more.


def test_a_port_must_bring_its_two_methods():
    with pytest.raises(NotImplementedError):
        Port().read(bytearray(1), 0, 1)
    with pytest.raises(NotImplementedError):
        Port().write(b"x", 0, 1)


# In the loop.


class IdleBoard(PaperBoard):
    """A board that reads every half millisecond, and notes which wishes to clear a fault reach a step."""

    def __init__(self, reads: int) -> None:
        super().__init__([500 * number for number in range(reads)])
        self.wishes: list[int] = []
        self.inputs: Inputs | None = None

    def read(self, inputs: Inputs) -> int:
        self.inputs = inputs
        return super().read(inputs)

    def write(self, outputs: Outputs) -> None:
        super().write(outputs)
        if self.inputs is not None and self.inputs.clear_requested:
            self.wishes.append(self.reads)


def played(session: Session, reads: int) -> IdleBoard:
    board = IdleBoard(reads)
    with pytest.raises(Unplugged):
        run(
            board,
            session.desk.rig.controller,
            session.desk.rig.inputs,
            session.counters,
            Counted(),
            session.talk,
        )
    return board


def test_the_loop_gives_turns_between_steps_and_loses_none_of_them():
    session = Session()
    board = played(session, 2_000)
    assert board.stepped_us == [500, *range(5_000, 1_000_000, 5_000)]
    assert session.counters.overruns == 0
    found = session.wire.feed(bytes(session.cable.to_host))
    frames = [item for item in found if isinstance(item, Frame)]
    assert 18 <= len(frames) <= 20
    assert frames[-1].resting
    assert frames[-1].worst_us == 500
    assert frames[-1].period_us == 5_000


def test_a_wish_to_clear_lasts_for_one_step():
    session = Session()
    session.cable.to_board += b'{"request": "clear"}\n'
    assert len(played(session, 400).wishes) == 1


def test_the_loop_ends_when_the_console_wants_a_new_start_and_leaves_the_output_safe():
    session = Session()
    session.cable.to_board += b'{"request": "maintenance"}\n'
    board = IdleBoard(4_000)
    run(
        board, session.desk.rig.controller, session.desk.rig.inputs, session.counters, Counted(), session.talk
    )
    assert board.reads < 400
    assert board.story[-1] == "write safe"


def test_what_takes_time_at_rest_is_no_overrun_and_what_comes_after_is():
    class SlowTalk(Talk):
        def pump(self, resting: bool, now_us: int) -> bool:
            super().pump(resting, now_us)
            return resting and self.console.ending == GO_ON

    session = Session()
    session.talk.__class__ = SlowTalk
    board = PaperBoard([0, 0, 1_000, 200_000, 250_000])
    with pytest.raises(Unplugged):
        run(
            board,
            session.desk.rig.controller,
            session.desk.rig.inputs,
            session.counters,
            Counted(),
            session.talk,
        )
    assert board.stepped_us == [0, 200_000, 250_000]
    assert session.counters.overruns == 1


# The host's end.


class Line:
    """The host's port: every read gives the board some turns at rest."""

    def __init__(self, session: Session, resting: bool = True) -> None:
        self.session = session
        self.resting = resting
        self.reads = 0

    def read(self, size: int = 1, /) -> bytes:
        self.reads += 1
        for _ in range(50):
            self.session.now_us = (self.session.now_us + 500) % WRAP_US
            self.session.talk.pump(self.resting, self.session.now_us)
        sent = bytes(self.session.cable.to_host)
        self.session.cable.to_host.clear()
        return sent

    def write(self, data: bytes, /) -> int:
        self.session.cable.to_board += data
        return len(data)


def test_a_client_reads_settings_changes_them_and_gets_the_frames_meanwhile():
    frames: list[Frame] = []
    texts: list[str] = []
    session = Session()
    client = ConsoleClient(Line(session), frames.append, texts.append)
    assert client.about() == {"board": "paper", "frame": 2, "settings": "settings_a.txt, sequence 1"}
    assert client.settings() == Settings({"assist_power_w": 240}).as_dict()
    client.clear()
    assert session.desk.rig.inputs.clear_requested
    assert client.change({"engage_rpm": 25}) == 2
    assert frames
    assert texts == ['{"notice": "settings: settings_a.txt, sequence 1"}']


def test_a_client_gets_the_edges_in_seconds_across_the_wrap():
    session = Session()
    for number in range(20):
        session.desk.edges.record(number & 3, (BEFORE_WRAP_US + 500 * number) % WRAP_US)
        session.desk.edges.take()
    edges = ConsoleClient(Line(session)).edges()
    assert [edge.levels for edge in edges] == [0, 1, 2, 3] * 5
    assert edges[0].time_s == 0.0
    assert edges[-1].time_s == pytest.approx(0.0095)


def test_a_client_asks_for_maintenance():
    session = Session()
    ConsoleClient(Line(session)).maintenance()
    assert session.talk.console.ending == MAINTENANCE


def test_a_client_is_told_why_the_board_refuses():
    session = Session()
    with pytest.raises(BoardRefusal, match=r"^engage_rpm must be 5 to 60, got 99$"):
        ConsoleClient(Line(session)).change({"engage_rpm": 99})
    with pytest.raises(BoardRefusal, match="must stand"):
        ConsoleClient(Line(session, resting=False)).clear()


def test_what_stood_half_typed_on_the_line_does_not_spoil_a_request():
    session = Session()
    session.turn(100)
    session.cable.to_board += b'{"requ'
    texts: list[str] = []
    assert ConsoleClient(Line(session), on_text=texts.append).about()["board"] == "paper"
    assert texts == ['{"refused": "at character 3 there must be a text of at most 40 characters"}']


def test_a_board_that_says_nothing_is_called_silent():
    session = Session()
    session.cable.stuck = True
    line = Line(session)
    with pytest.raises(BoardSilent, match="did not answer"):
        ConsoleClient(line).about()
    assert line.reads == 102


def test_a_port_that_is_not_there_is_refused_by_name():
    with pytest.raises(RequestError, match="the port /nowhere/at/all cannot be opened"):
        open_port("/nowhere/at/all")
