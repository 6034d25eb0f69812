"""One watch: it reads, waits for a lost port, requests settings, and ends on request."""

import binascii

import pytest
from cobs import cobs

from host_sim.errors import RequestError
from host_sim.watching.record_file import RecordFile
from host_sim.watching.session import Ended, Session
from host_sim.watching.watch_result import WatchResult
from host_sim.watching.watched import Watched
from tests.unit.test_console import Line
from tests.unit.test_console import Session as BoardSession


class Clock:
    """A clock that advances when the session waits or reads."""

    def __init__(self) -> None:
        self.s = 100.0

    def __call__(self) -> float:
        return self.s

    def pause(self, seconds: float) -> None:
        self.s += seconds


class Cable(Line):
    """The port of a paper board: each read takes 25 ms. It breaks at a read or write, and can say more."""

    def __init__(self, clock: Clock, resting: bool = True, breaks_after: int = 10**9) -> None:
        super().__init__(BoardSession(), resting)
        self.clock = clock
        self.breaks_after = breaks_after
        self.closed = False
        self.more = b""
        self.asked = b""
        self.deaf = False

    def read(self, size: int = 1, /) -> bytes:
        assert not self.closed
        self.clock.s += 0.025
        if self.reads == self.breaks_after:
            raise OSError(5, "Input/output error")
        said, self.more = self.more, b""
        return super().read(size) + said

    def write(self, data: bytes, /) -> int:
        if self.reads >= self.breaks_after:
            raise OSError(5, "Input/output error")
        self.asked += data
        return len(data) if self.deaf else super().write(data)

    def close(self) -> None:
        self.closed = True
        raise OSError(9, "Bad file descriptor")


class Looks:
    """A view that counts its calls and ends after some."""

    def __init__(self, end_after: int = 10**9) -> None:
        self.count = 0
        self.end_after = end_after

    def look(self, watched: Watched, now_s: float) -> None:
        self.count += 1
        if self.count > self.end_after:
            raise Ended


def session_of(clock, connects, seconds=None, record=None, view=None):
    """Return a session whose port is the next of `connects` each time; an error among them is raised."""
    waiting = list(connects)

    def connect():
        found = waiting.pop(0)
        if isinstance(found, Exception):
            raise found
        return "port", found

    return Session(connect, view or Looks(), record, seconds, clock, clock.pause)


def test_it_ends_by_itself_after_the_seconds_asked_for():
    clock = Clock()
    session = session_of(clock, [Cable(clock)], seconds=3.0)
    session.run()
    assert 3.0 <= session.now_s < 3.1
    assert 58 <= session.watched.frames <= 61  # 20 a second on the clock of the paper board as well.


def test_a_view_can_end_it_and_the_port_is_closed():
    clock = Clock()
    cable = Cable(clock)
    session_of(clock, [cable], view=Looks(end_after=5)).run()
    assert cable.closed
    assert cable.reads == 5


@pytest.mark.parametrize("resting", [True, False])
def test_the_settings_are_asked_for_once_whether_the_board_rests_or_rides(resting):
    clock = Clock()
    cable = Cable(clock, resting)
    session = session_of(clock, [cable], seconds=4.0)
    session.run()
    assert session.watched.board == "paper"
    assert session.watched.settings["engage_rpm"] == 20
    assert cable.asked.count(b'"settings"') == 1


def test_what_follows_an_answer_in_the_same_reading_is_not_lost():
    """The paper board's readings are of 500 ms here: frames stand before, between and behind the answers."""
    clock = Clock()
    cable = Cable(clock)
    read = cable.read
    cable.read = lambda size: b"".join(read(size) for _ in range(20))
    session = session_of(clock, [cable], seconds=9.0)
    session.run()
    assert session.watched.settings["engage_rpm"] == 20
    assert session.watched.frames >= 170
    assert session.watched.lost.count == 0


def test_while_an_answer_is_waited_for_the_frames_are_taken_and_the_view_looks():
    clock = Clock()
    cable = Cable(clock)
    cable.deaf = True
    view = Looks()
    session = session_of(clock, [cable], seconds=6.0, view=view)
    session.run()
    assert cable.asked.count(b'"about"') >= 1
    assert session.watched.settings == {}
    assert session.watched.lost.count == 0
    assert view.count >= 230


def test_it_waits_for_a_port_that_is_gone_and_goes_on_with_the_same_record(tmp_path):
    clock = Clock()
    gone = [RequestError("no such port")] * 8
    cables = [Cable(clock, breaks_after=60), *gone, Cable(clock)]
    with RecordFile(tmp_path / "ride.csv", force=False) as record:
        session = session_of(clock, cables, seconds=8.0, record=record)
        session.run()
    watched = session.watched
    assert cables[0].closed
    assert (watched.connections, watched.lost.count) == (2, 0)
    assert watched.away_s == pytest.approx(2.0)
    rows = (tmp_path / "ride.csv").read_text().splitlines()
    assert len(rows) == 1 + watched.frames
    assert {row.split(",")[1] for row in rows[1:]} == {"1", "2"}
    assert watched.settings["engage_rpm"] == 20


def test_a_port_that_goes_while_the_board_is_asked_is_waited_for_too():
    for breaks_after in range(1, 12):
        clock = Clock()
        session = session_of(clock, [Cable(clock, breaks_after=breaks_after), Cable(clock)], seconds=3.0)
        session.run()
        assert session.watched.connections == 2


def test_it_can_end_while_the_port_is_gone():
    clock = Clock()
    session = session_of(clock, [Cable(clock, breaks_after=20), *[RequestError("gone")] * 50], seconds=5.0)
    session.run()
    assert not session.watched.connected
    assert session.watched.away_s == pytest.approx(4.5, abs=0.3)


def test_a_port_that_can_not_be_opened_at_the_start_is_an_error():
    with pytest.raises(RequestError, match="another program is using it"):
        session_of(Clock(), [RequestError("another program is using it")]).run()


@pytest.mark.parametrize(
    "noise",
    [
        b'{"ok": "about"}\n',
        b'{"ok": "about", "board": [1]}\n{"ok": "settings"}\n',
        b'{"ok": "settings", "settings": 7}\n{"ok": "about", "board": {}, "frame": 1, "settings": 2}\n',
        b'{"refused": {"a": 1}}\n',
        b"[" * 90_000 + b"\n",
        b'{"notice": ' + b"9" * 5_000 + b"}\n",
        bytes(range(256)) * 20,
        b"\0" * 500,
        b"\x1b]0;title\x07" * 30 + b"\n",
        b"x" * 150_000,
    ],
    ids=lambda noise: repr(noise[:20]),
)
def test_nothing_on_the_line_breaks_the_watch(noise):
    clock = Clock()
    cable = Cable(clock)
    read = cable.read

    def noisy(size: int = 1, /) -> bytes:
        """Say it before every third piece of what the board says."""
        said = read(size)
        return noise + b"\0" + said if cable.reads % 3 == 0 and cable.reads < 60 else said

    cable.read = noisy
    session = session_of(clock, [cable], seconds=4.0)
    session.run()
    assert session.watched.frames > 60
    assert all(one.text.isprintable() for one in session.watched.happenings)


def test_frames_of_an_older_kind_are_told_and_neither_damaged_nor_lost():
    payload = b"\x01" + bytes(57)  # Kind 1 had 58 bytes, and nothing but its first byte is looked at.
    old = b"\0" + cobs.encode(payload + binascii.crc_hqx(payload, 0xFFFF).to_bytes(2, "big")) + b"\0"
    clock = Clock()
    cable = Cable(clock)

    def read(size: int = 1, /) -> bytes:
        clock.s += 0.025
        return old

    cable.read = read
    session = session_of(clock, [cable], seconds=3.0)
    session.run()
    watched = session.watched
    assert (watched.frames, watched.damaged, watched.lost.count) == (0, 0, 0)
    assert watched.other_kind == 1
    assert cable.asked == b""
    assert WatchResult(watched, 3.0, None, "").complaint == (
        "no frame from port can be read: the board has an older firmware: its frames are of kind 1, this "
        "program reads kind 2; flash the board with this version"
    )


def test_what_was_neither_frame_nor_text_is_counted():
    clock = Clock()
    cable = Cable(clock, resting=False)
    read = cable.read

    def noisy(size: int = 1, /) -> bytes:
        said = read(size)
        return said + b"\x01\x02\x03\0" if cable.reads == 30 else said

    cable.read = noisy
    session = session_of(clock, [cable], seconds=2.0)
    session.run()
    assert session.watched.damaged == 1
