"""A link whose board has no time left, whose port takes little or nothing, or whose host writes nonsense.

The times of the simulated board are those of a Raspberry Pi Pico that runs bytecode, emulated at 125 MHz: a
turn of the link takes at most 4 ms, one without anything to do 0.7 ms, and a step with its reading and
writing 4.5 to 6 ms of its 5 ms.
"""

import json
from itertools import pairwise
from typing import Any

import pytest

from firmware.link.port import PIECE_SIZE
from firmware.link.talk import Talk
from firmware.loop import Board, Heap, run
from firmware.records import Inputs, Outputs
from firmware.settings import TABLE, Settings
from host_sim.boardlink.frames import Frame, Wire
from host_sim.rig.rig import WRAP_US
from tests.unit.test_console import MOVING, Session, frames_in, lines_in

TURN_US = 4_000
IDLE_TURN_US = 700
STEPS_US = [4_500, 5_000, 5_500, 6_000]
BOUND_US = 100_000
READY = [b'{"request": "about"}\n', b'{"request": "settings"}\n']
NOT_READY = [
    b'{"request": "edges"}\n',
    b'{"request": "clear"}\n',
    b'{"request": "maintenance"}\n',
    b"hello\n",
]


class Over(Exception):
    """The time of a test is over."""


class SlowTalk(Talk):
    """A talk whose turns take time on the board's clock. Only a host that asks can tell rest from motion."""

    board: "SlowBoard"

    def pump(self, resting: bool, now_us: int) -> bool:
        before = self.done()
        took_time = super().pump(self.board.resting, now_us)
        self.board.elapsed_us += IDLE_TURN_US if self.done() == before else TURN_US
        self.board.look()
        return took_time

    def done(self) -> tuple[object, ...]:
        """Return all that a turn can change."""
        cable = self.board.session.cable
        return self._stage, len(cable.written), len(cable.to_board)


class SlowBoard(Board):
    """A board whose steps take `step_us`, ridden until `end_us`; `asked` comes in at `ask_at_us`.

    Read after the ride: `answered_us`, when the first line of the answer was whole on the line (-1: never),
    `last_us`, when the last one was, and `found`, all frames and lines.
    """

    def __init__(self, step_us: int, resting: bool = False) -> None:
        self.session = Session()
        talk = self.session.talk
        talk.__class__ = SlowTalk
        talk.board = self  # type: ignore[attr-defined]
        self.step_us = step_us
        self.resting = resting
        self.elapsed_us = 0
        self.start_us = self.session.now_us
        self.ask_at_us = 0
        self.asked = b""
        self.end_us = 0
        self.answered_us = -1
        self.last_us = -1
        self.wire = Wire()
        self.found: list[Frame | dict[str, Any]] = []

    def ride(self, end_us: int, asked: bytes = b"", ask_at_us: int = 0) -> "SlowBoard":
        self.end_us, self.asked, self.ask_at_us = end_us, asked, ask_at_us
        rig = self.session.desk.rig
        with pytest.raises(Over):
            run(self, rig.controller, rig.inputs, self.session.counters, Heap(), self.session.talk)
        return self

    def read(self, inputs: Inputs) -> int:
        self.elapsed_us += 400
        if self.elapsed_us >= self.end_us:
            raise Over
        if self.asked and self.elapsed_us >= self.ask_at_us:
            self.ask_at_us = self.elapsed_us
            self.session.cable.to_board += self.asked
            self.asked = b""
        inputs.sampled_us = (self.start_us + self.elapsed_us) % WRAP_US
        inputs.brake_pulled = False
        return inputs.sampled_us

    def write(self, outputs: Outputs) -> None:
        self.elapsed_us += self.step_us - 400

    def feed_watchdog(self) -> None:
        pass

    def look(self) -> None:
        """Take what has come to the host."""
        cable = self.session.cable
        for item in self.wire.feed(bytes(cable.to_host)):
            self.found.append(item if isinstance(item, Frame) else json.loads(item))
            if isinstance(item, str) and "notice" not in item:
                self.last_us = self.elapsed_us
                if self.answered_us < 0:
                    self.answered_us = self.elapsed_us
        cable.to_host.clear()


# A board without time to spare.


@pytest.mark.parametrize("step_us", STEPS_US)
@pytest.mark.parametrize("asked", READY + NOT_READY)
def test_a_request_while_riding_is_answered_within_100_ms_whenever_it_comes(step_us, asked):
    for ask_at_us in range(200_000, 300_000, 3_000):
        board = SlowBoard(step_us).ride(700_000, asked, ask_at_us)
        assert 0 < board.answered_us - board.ask_at_us <= BOUND_US
        line = next(line for line in lines_in(board.found) if "notice" not in line)
        assert (line == MOVING) == (asked in NOT_READY)


@pytest.mark.parametrize("step_us", STEPS_US)
def test_a_request_at_rest_is_answered_within_100_ms_though_frames_are_always_due(step_us):
    for ask_at_us in range(200_000, 260_000, 7_000):
        board = SlowBoard(step_us, resting=True).ride(700_000, NOT_READY[1], ask_at_us)
        assert 0 < board.answered_us - board.ask_at_us <= BOUND_US
        assert {"ok": "clear"} in lines_in(board.found)


@pytest.mark.parametrize("step_us", STEPS_US)
@pytest.mark.parametrize("resting", [True, False])
def test_all_settings_come_within_a_second(step_us, resting):
    board = SlowBoard(step_us, resting).ride(1_600_000, READY[1], 200_000)
    settings: dict[str, int] = {}
    for line in lines_in(board.found)[1:]:
        settings |= line["settings"]
    assert len(settings) == len(TABLE)
    assert settings == Settings({"assist_power_w": 240}).as_dict()
    assert board.last_us - board.ask_at_us <= 1_000_000


@pytest.mark.parametrize("step_us", STEPS_US)
def test_a_board_without_time_to_spare_sends_20_frames_a_second(step_us):
    board = SlowBoard(step_us).ride(2_000_000)
    assert 39 <= len(frames_in(board.found)) <= 40


def test_a_board_that_can_not_send_20_frames_a_second_sends_what_it_can_and_is_heard():
    board = SlowBoard(30_000).ride(4_000_000, READY[0], 1_000_000)
    assert 15 <= len(frames_in(board.found)) <= 20  # Three turns a frame, one turn in 63 ms.
    assert 0 < board.answered_us - board.ask_at_us < 6 * 66_000


@pytest.mark.parametrize(("step_us", "period_us"), [(3_000, 5_000), (6_000, 8_000)])
def test_the_period_reached_is_told_and_so_is_the_longest_step(step_us, period_us):
    frames = frames_in(SlowBoard(step_us).ride(2_000_000).found)
    assert frames[0].period_us == 0
    for frame in frames[5:]:
        assert frame.period_us == pytest.approx(period_us, abs=800)
        assert step_us <= frame.worst_us <= step_us + TURN_US
    steps = (frames[-1].steps - frames[5].steps) & 0xFFFF
    elapsed_us = (frames[-1].time_us - frames[5].time_us) % WRAP_US
    told_us = sum(frame.period_us for frame in frames[6:]) / len(frames[6:])
    assert told_us == pytest.approx(elapsed_us / steps, rel=0.02)


def test_steps_of_3_ms_are_never_a_period_late_and_steps_of_6_ms_are():
    on_time, late = SlowBoard(3_000).ride(2_000_000), SlowBoard(6_000).ride(2_000_000)
    assert frames_in(on_time.found)[-1].overruns == 0
    assert frames_in(late.found)[-1].overruns > 20


# A clock that goes back.


@pytest.mark.parametrize("back_us", [100_000, 10_000_000, WRAP_US // 2 - 1])
def test_frames_go_on_after_a_clock_that_went_back(back_us):
    session = Session()
    session.turn(190)
    session.now_us = (session.now_us - back_us) % WRAP_US
    frames = frames_in(session.turn(1_000))
    assert 10 <= len(frames) <= 11
    assert frames[0].period_us == 0
    gaps_us = {(b.time_us - a.time_us) % WRAP_US for a, b in pairwise(frames)}
    assert gaps_us == {50_000}


def test_a_clock_that_went_back_by_less_than_a_frames_time_delays_no_frame_by_more():
    session = Session()
    session.turn(190)
    session.now_us = (session.now_us - 20_000) % WRAP_US
    assert len(frames_in(session.turn(1_000))) == 10


# A port that takes little.


@pytest.mark.parametrize("takes", [1, 7, 63])
def test_a_port_that_takes_little_gets_everything_whole_and_in_order(takes):
    session = Session()
    session.cable.takes = takes
    session.cable.to_board += READY[1]
    found = session.turn(4_000)
    assert sum(len(line["settings"]) for line in lines_in(found)[1:]) == len(TABLE)
    assert len(frames_in(found)) > 5
    assert (session.wire.damaged, session.wire.frames_lost) == (0, 0)


def test_after_a_piece_that_was_taken_in_part_whole_pieces_follow():
    session = Session()
    session.turn(90)
    session.cable.takes = 7
    session.cable.to_board += READY[1]
    session.cable.written.clear()
    session.turn(1)  # Nothing of a frame is due: this turn listens.
    session.turn(1)
    assert session.cable.written == [64, 57, 50, 43]
    session.cable.takes = PIECE_SIZE
    session.turn(1)
    assert session.cable.written[4:6] == [36, 64]


def test_every_line_of_text_and_every_frame_is_whole_pieces():
    session = Session()
    session.cable.to_board += b"".join(READY + NOT_READY)
    session.turn(2_000, resting=False)
    session.turn(200, resting=True)
    assert set(session.cable.written) == {PIECE_SIZE}


def test_a_host_that_does_not_read_for_a_while_is_answered_when_it_reads_again():
    session = Session()
    session.turn(100)
    session.cable.stuck = True
    session.cable.to_board += READY[0]
    assert session.turn(4_000, resting=False) == []
    session.cable.stuck = False
    found = session.turn(400, resting=False)
    assert [line["ok"] for line in lines_in(found)] == ["about"]
    assert 4 <= len(frames_in(found)) <= 6
    assert (session.wire.damaged, session.wire.frames_lost) == (0, 0)


# A host that writes nonsense.


@pytest.mark.parametrize(
    "nonsense",
    [b"x", b"\n", b"x\n", b"\r", b"\0", b"\xff\n", b'{"request": "about"}\n', b'{"request": "settings"}\n'],
    ids=repr,
)
@pytest.mark.parametrize("resting", [True, False])
def test_a_host_that_never_stops_writing_does_not_stop_the_frames(nonsense, resting):
    session = Session()
    session.cable.to_board += nonsense * 20_000
    frames = frames_in(session.turn(4_000, resting))
    assert 36 <= len(frames) <= 40
    assert session.wire.damaged == 0


def test_two_requests_in_one_reading_are_both_answered():
    session = Session()
    session.cable.to_board += b'{"a"\n{\n\n\n[\n' + READY[0]
    found = session.turn(400, resting=True)
    assert [next(iter(line)) for line in lines_in(found)] == ["notice", "refused", "refused", "refused", "ok"]


@pytest.mark.parametrize("line", [b'{"request": "abouT"}', b'{"request":"about"}', b'{"request": "about"} '])
def test_while_riding_only_what_is_written_to_the_letter_is_answered(line):
    session = Session()
    session.cable.to_board += line + b"\n"
    assert lines_in(session.turn(200, resting=False))[1:] == [MOVING]


def test_a_line_that_was_too_long_is_refused_while_riding_even_if_it_begins_like_a_request():
    session = Session()
    session.cable.to_board += b'{"request": "about"}\x07\n'
    assert lines_in(session.turn(200, resting=False))[1:] == [MOVING]


def test_settings_that_are_being_told_go_on_when_the_bicycle_moves():
    session = Session()
    session.turn(100)
    session.cable.to_board += READY[1]
    lines = lines_in(session.turn(4, resting=True) + session.turn(400, resting=False))
    assert [line["left"] for line in lines][-1] == 0
    assert sum(len(line["settings"]) for line in lines) == len(TABLE)
