"""What the work at the bicycle reads is what the board sends now, not what came while a person was asked."""

import binascii
import io
from itertools import count

import pytest
from cobs import cobs

from firmware.link.history import RememberedEdges
from firmware.link.lines import line_of
from firmware.link.telemetry import Telemetry
from firmware.loop import LoopCounters
from firmware.settings import Settings
from host_sim.cli import at_the_board
from host_sim.commissioning.live import LiveBoard
from host_sim.commissioning.readings import steady_v
from host_sim.rig.rig import Rig
from host_sim.watching.workshop import BoardTrouble


class Cable:
    """A port of which the operating system keeps `kept` until it is read; then `now` comes."""

    def __init__(self, kept: bytes, now: bytes) -> None:
        self.kept = io.BytesIO(kept)
        self.now = io.BytesIO(now)

    def read(self, size: int) -> bytes:
        return self.kept.read(size) or self.now.read(size)

    def write(self, content: bytes) -> int:
        raise AssertionError("nothing is asked of the board")

    def close(self) -> None:
        pass

    def reset_input_buffer(self) -> None:
        self.kept.read()


def sent(volts: float, first: int, steps: int = 0) -> bytes:
    """Return two seconds of frames of a standing board with this throttle, from so many steps on."""
    rig = Rig(Settings({}))
    edges = RememberedEdges()
    rig.inputs.crank = edges
    rig.inputs.throttle_mv = int(volts * 1000)
    counters = LoopCounters()
    telemetry = Telemetry(rig.controller, rig.inputs, edges, counters, True, 1)
    stream = b""
    for number in range(40):
        counters.steps = steps + 10 * number
        telemetry.sample()
        telemetry.measure(True, (first + number) * 50_000)
        telemetry.seal()
        telemetry.stuff()
        stream += bytes(telemetry.frame)
    return stream


def board_with(kept: bytes, now: bytes) -> LiveBoard:
    return LiveBoard(Cable(kept, now), lambda asked: asked(), clock_s=lambda: 0.0)


def test_the_lever_is_read_as_it_is_after_enter_not_as_it_was_before(monkeypatch):
    board = board_with(sent(0.8, 0), sent(3.7, 100))
    monkeypatch.setattr(at_the_board, "ask", lambda question: "")
    assert at_the_board.asking(board)("Open it fully and hold it, then Enter: ") == ""
    assert steady_v(board, "throttle_v") == 3.7


def test_without_that_the_old_lever_would_be_read():
    assert steady_v(board_with(sent(0.8, 0), sent(3.7, 100)), "throttle_v") == 0.8


def test_a_frame_that_was_cut_by_it_is_left_out():
    assert steady_v(board_with(b"", sent(3.7, 100)[30:]), "throttle_v") == 3.7


def test_frames_of_an_older_firmware_are_named_as_such_at_once():
    payload = b"\x01" + bytes(57)  # Of kind 1: boards that were flashed with an older version.
    frame = b"\0" + cobs.encode(payload + binascii.crc_hqx(payload, 0xFFFF).to_bytes(2, "big")) + b"\0"
    with pytest.raises(BoardTrouble, match="the board has an older firmware: its frames are of kind 1"):
        steady_v(board_with(b"", frame), "throttle_v")


class Restarting(Cable):
    """A port whose board answers a change and sends the frames after its restart in one piece with that."""

    def __init__(self, before: bytes, after: bytes) -> None:
        super().__init__(b"", b"")
        self._piece = before + line_of('"ok": "set", "sequence": 2') + after

    def write(self, content: bytes) -> int:
        if b"set" in content:
            self.now = io.BytesIO(self._piece)
        return len(content)


def test_what_a_restarted_board_sends_beside_its_answer_is_not_lost_and_nothing_older_is_taken():
    before, after = sent(0.8, 0, 9_000), sent(3.7, 100)
    board = LiveBoard(Restarting(before, after), lambda asked: asked(), clock_s=count(0.0, 0.01).__next__)
    board.change({"engage_rpm": 20})
    assert [(frame.steps, frame.throttle_v) for frame in board.frames(1.0)] == [
        (10 * number, 3.7) for number in range(21)
    ]
    assert min(frame.steps for frame in board.frames(1.0)) > 200
