"""The recorder stores the inputs and outputs of each step, and reports losses."""

import random

import pytest

from firmware.link.block_ring import LEAST_BLOCKS, SPARE_BLOCKS
from firmware.link.stream import BLOCKS_UNASKED, STREAM_FRAME_SIZE
from firmware.link.writing import BLOCK_SIZE
from host_sim.boardlink.frames import Wire
from host_sim.boardlink.recorded import Block, Loss, RecordedStep, StepReader
from tests.quick_first import quick_first
from tests.recorded_rides import Ridden


def received(sent: list[bytes]) -> list[RecordedStep | Loss]:
    reader = StepReader()
    found: list[RecordedStep | Loss] = []
    wire = Wire(lambda block: found.extend(reader.feed(block)))
    assert wire.feed(b"".join(sent)) == []
    assert wire.damaged == 0
    return found


@pytest.mark.parametrize("seed", range(3))
def test_every_step_arrives_as_it_was_across_the_wrap_with_many_edges_and_a_clock_that_jumps(seed):
    ridden = Ridden(seed)
    ridden.listen()
    for _ in range(3_000):
        ridden.step(edges=ridden.random.choice([0, 2, 2, 2, 12]))
        if ridden.stream.listening is False:
            ridden.listen()
        ridden.listen()  # A clock that jumps ends the listening; a host that renews loses nothing by it.
        ridden.turns(60)
    ridden.drain()
    found = received(ridden.sent)
    assert len(found) > 2_900
    assert found == ridden.steps[: len(found)]


def ridden_for(steps: int, seed: int = 1, blocks: int = 40, edges: int = 2) -> Ridden:
    ridden = Ridden(seed, blocks)
    for _ in range(steps):
        ridden.step(edges)
    return ridden


def blocks_in(sent: list[bytes]) -> list[Block]:
    found: list[Block] = []
    Wire(found.append).feed(b"".join(sent))
    return found


# The link.


def test_a_frame_of_the_stream_is_four_pieces_with_zeros_at_its_ends_and_nowhere_else():
    ridden = ridden_for(100)
    ridden.listen(from_oldest=True)
    ridden.drain()
    assert len(ridden.sent) > 3
    for sent in ridden.sent:
        assert len(sent) == STREAM_FRAME_SIZE == 256
        assert sent[0] == sent[-1] == 0
        assert 0 not in sent[1:-1]
        assert sent[1] == 2  # So that the host never takes its beginning for text.


def test_every_single_bit_flip_in_a_frame_is_detected_and_the_loss_told():
    ridden = ridden_for(60, edges=1)
    ridden.listen(from_oldest=True)
    ridden.drain()
    before, flipped, after = ridden.sent[:3]
    truth = received(ridden.sent[:3])
    lost = blocks_in([flipped])[0]
    for bit in range(8 * STREAM_FRAME_SIZE):
        damaged = bytearray(flipped)
        damaged[bit // 8] ^= 1 << bit % 8
        reader, wire_found = StepReader(), []

        def take(block, reader=reader, found=wire_found):
            found.extend(reader.feed(block))

        wire = Wire(take)
        wire.feed(before + bytes(damaged) + after)
        losses = [item for item in wire_found if isinstance(item, Loss)]
        if losses:
            assert losses[0].steps in (lost.steps, lost.steps + 1)  # One more if its edges were in there.
            assert all(item in truth for item in wire_found if isinstance(item, RecordedStep))
        else:
            # Flipping a zero at its end next to another zero changes nothing.
            assert wire_found == truth
            assert bit // 8 in (0, STREAM_FRAME_SIZE - 1)


def test_a_host_that_reads_too_slowly_is_told_how_many_steps_are_missing():
    ridden = Ridden(3, LEAST_BLOCKS)
    ridden.listen()
    for number in range(2_000):
        ridden.step()
        ridden.turns(number % 4 == 0)
    ridden.drain()
    found = received(ridden.sent)
    steps = [item for item in found if isinstance(item, RecordedStep)]
    losses = [item for item in found if isinstance(item, Loss)]
    assert losses
    assert all(step == ridden.steps[step.number] for step in steps)
    last = steps[-1].number
    assert len(steps) + sum(loss.steps for loss in losses) == last - steps[0].number + 1


def test_a_block_that_is_written_over_while_it_is_made_into_a_frame_is_begun_anew():
    ridden = Ridden(5, LEAST_BLOCKS)
    ridden.listen()
    while ridden.recorder.ring.waiting() < 2:
        ridden.step()
    ridden.turns(2)
    for _ in range(1_000):
        ridden.step()
    ridden.drain()
    found = received(ridden.sent)
    assert all(item == ridden.steps[item.number] for item in found if isinstance(item, RecordedStep))
    assert found[0].number > 100


def test_a_stream_that_nobody_asks_for_again_ends_and_can_be_asked_for_anew():
    ridden = Ridden(6)
    ridden.listen()
    while ridden.stream.listening:
        ridden.step(edges=8)
        ridden.turns(20)
    assert len(ridden.sent) == BLOCKS_UNASKED
    ridden.sent.clear()
    for _ in range(200):
        ridden.step()
    ridden.turns(20)
    assert ridden.sent == []
    ridden.listen()
    for _ in range(200):
        ridden.step()
    ridden.drain()
    assert received(ridden.sent)[-1] == ridden.steps[received(ridden.sent)[-1].number]


# The ring.


@pytest.mark.parametrize("seed", range(2))
@pytest.mark.parametrize("before", quick_first(2, [10, 300, 5_000]))
def test_what_is_frozen_stays_while_riding_and_streaming_go_on_without_a_loss(seed, before):
    ridden = Ridden(seed, 24)
    ridden.step()
    ridden.recorder._cause = 1  # So that no fault freezes it first.
    ridden.recorder._freezes_in = 0
    for _ in range(before):
        ridden.step()
        ridden.recorder._freezes_in = 0
    ring = ridden.recorder.ring
    ridden.recorder.freeze()
    frozen = [bytes(ring._blocks[(ring._first_frozen + at) % 24]) for at in range(ring.frozen)]
    assert len(frozen) in range(1, 24 - SPARE_BLOCKS + 1)
    ridden.listen()
    for _ in range(3_000):
        ridden.step()
        ridden.turns(20)
    assert [bytes(ring._blocks[(ring._first_frozen + at) % 24]) for at in range(ring.frozen)] == frozen
    ridden.drain()
    live = received(ridden.sent)
    assert len(live) > 2_900
    assert live == ridden.steps[live[0].number : live[-1].number + 1]
    ridden.sent.clear()
    ridden.listen(from_oldest=True)
    for _ in range(len(frozen)):
        while not (ridden.stream.make() and ridden.stream.made()):
            pass
        ridden.sent.append(bytes(ridden.stream.frame))
    assert [block.payload for block in blocks_in(ridden.sent)] == frozen
    kept = received(ridden.sent)
    assert kept == ridden.steps[kept[0].number : before + 1]


def test_a_fault_freezes_the_ring_a_second_later_and_a_second_fault_changes_nothing():
    ridden = Ridden(1, 60)
    ring = ridden.recorder.ring
    ridden.inputs.brake_pulled = False
    while ring.frozen == 0:
        ridden.step(edges=0)
        assert len(ridden.steps) < 1_000
    first = next(step.number for step in ridden.steps if step.fault_cause)
    assert len(ridden.steps) - 1 == first + 199
    sequence = ridden.recorder._writing.sequence
    ridden.recorder.freeze()
    assert ridden.recorder._writing.sequence == sequence


def test_a_ring_that_was_let_go_records_over_what_it_kept_and_can_be_frozen_again():
    ridden = ridden_for(1_500, blocks=24)
    ridden.recorder.freeze()
    ridden.recorder.ring.release()
    for _ in range(2_000):
        ridden.step()
    ridden.recorder.ring.release()
    for _ in range(100):
        ridden.step()
    ridden.recorder.freeze()
    ridden.listen(from_oldest=True)
    ridden.drain()
    found = received(ridden.sent)
    assert found == ridden.steps[found[0].number : found[0].number + len(found)]
    assert len(found) > 50


@pytest.mark.parametrize("seed", quick_first(2, range(4)))
def test_a_ring_asked_at_random_for_anything_gives_true_steps_and_tells_each_loss(seed):
    draw = random.Random(seed)
    ridden = Ridden(seed, draw.choice([LEAST_BLOCKS, 9, 16]))
    for _ in range(2_500):
        ridden.step(draw.choice([0, 1, 2, 30]))
        ridden.turns(draw.choice([0, 0, 1, 3, 40]))
        asked = draw.random()
        if asked < 0.003:
            ridden.recorder.freeze()
        elif asked < 0.006:
            ridden.recorder.ring.release()
        elif asked < 0.02:
            ridden.listen(from_oldest=draw.random() < 0.3)
    found = blocks_in(ridden.sent)
    assert len(found) == len(ridden.sent) > 10
    for before, block in zip([None, *found], found, strict=False):
        reader = StepReader()
        if before is not None and block.continued:
            list(reader.feed(before))
        for item in reader.feed(block):
            if isinstance(item, RecordedStep):
                assert item == ridden.steps[item.number]


def test_a_block_holds_at_most_what_it_has_place_for_even_when_all_changes_at_once():
    ridden = Ridden(9)
    for value in range(2_000):
        inputs = ridden.inputs
        ridden.now_us = (ridden.now_us + 2**28 + value) % 2**30
        for name in ("throttle_mv", "selector_mv", "battery_mv", "current_ma", "motor_decicelsius"):
            setattr(inputs, name, 2**27 * (value % 2))
        inputs.sampled_us = (ridden.now_us + 2**29) % 2**30
        inputs.crank.overruns = value
        ridden.recorder.edge(3, (ridden.now_us + 2**29) % 2**30, True)
        ridden.recorder.note_step(ridden.now_us)
        assert ridden.recorder._writing.at <= BLOCK_SIZE
