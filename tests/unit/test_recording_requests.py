"""What a host may ask of the recorder, at rest and while riding, and that the stream shares the link."""

import json
from itertools import pairwise

import pytest

from firmware.link.console import GO_ON, START_ANEW
from host_sim.boardlink.recorded import Block, StepReader
from tests.unit.test_console import MOVING, Desk, Session, frames_in, lines_in

WAYS = ['{"request": "stream"}', '{"request": "stream all"}']


def stepped(desk: Desk, count: int) -> None:
    for _ in range(count):
        desk.rig.step()
        desk.recorder.note_step(desk.rig.now_us)


@pytest.mark.parametrize("line", WAYS)
@pytest.mark.parametrize("resting", [True, False])
def test_a_stream_is_granted_at_rest_and_while_riding(line, resting):
    desk = Desk()
    desk.hear(line.encode() + b"\n")
    assert json.loads(desk.console.next_line(resting)) == {"ok": json.loads(line)["request"]}


@pytest.mark.parametrize("request_name", ["stream", "stream all"])
def test_a_stream_asked_for_in_other_words_is_granted_at_rest_only(request_name):
    desk = Desk()
    line = f'{{ "request":"{request_name}" }}\n'.encode()
    desk.hear(line)
    assert json.loads(desk.console.next_line(False)) == MOVING
    desk.hear(line)
    assert json.loads(desk.console.next_line(True)) == {"ok": request_name}


def test_what_is_frozen_is_told_keeps_the_board_from_a_new_start_and_can_be_released():
    desk = Desk()
    stepped(desk, 400)
    (answer,) = desk.ask({"request": "freeze"})
    assert answer["ok"] == "freeze"
    assert answer["blocks"] == 2  # Of 8 blocks 6 go on.
    assert answer["first"] == desk.recorder._writing.sequence - 2
    (refused,) = desk.ask({"request": "start"})
    assert refused == {"refused": "the recorder keeps something: read it, and then release it"}
    assert desk.console.ending == GO_ON
    assert desk.ask({"request": "release"}) == [{"ok": "release"}]
    assert desk.ask({"request": "start"}) == [{"ok": "start"}]
    assert desk.console.ending == START_ANEW


def test_stream_frames_and_answers_share_the_link_and_none_is_lost():
    session = Session()
    blocks: list[Block] = []
    session.wire._on_block = blocks.append
    session.cable.to_board += b'{"request": "stream all"}\n'
    found = []
    rig = session.desk.rig
    for number in range(1_200):
        rig.step()
        session.talk.note_step(rig.now_us)
        if number % 100 == 99:
            session.cable.to_board += b'{"request": "about"}\n'
        found += session.turn(5, resting=False, each_us=1_000)
    reader = StepReader()
    steps = [step for block in blocks for step in reader.feed(block)]
    assert [step.number for step in steps] == list(range(len(steps)))
    assert len(steps) > 1_000
    numbers = [frame.number for frame in frames_in(found)]
    assert len(numbers) > 100
    assert all((after - before) % 256 == 1 for before, after in pairwise(numbers))
    assert sum(line.get("ok") == "about" for line in lines_in(found)) == 12
