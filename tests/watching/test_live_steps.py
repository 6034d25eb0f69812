"""The desk board streams every step and every crank edge while it rides; a late host is told of the loss."""

import time
from contextlib import closing

import pytest

from host_sim.boardlink.console_client import open_port
from host_sim.boardlink.desk import desk_port
from host_sim.boardlink.frames import Frame
from host_sim.boardlink.live_steps import LiveSteps, Renewal
from host_sim.boardlink.recorded import Loss, RecordedStep, crank_edges
from tests.micropython_unix import micropython_unix

STEPS = 4_000  # 20 s of the desk's clock: rest, pedalling, rest.


@pytest.fixture
def port():
    micropython_unix()  # Or skip.
    with desk_port("cargo_trike", None, hurry=True) as name, closing(open_port(name)) as opened:
        yield opened


@pytest.mark.long
def test_every_step_and_every_crank_edge_of_the_desk_arrives_from_its_start(port):
    frames: list[Frame] = []
    live = LiveSteps(port, from_oldest=True, on_frame=frames.append)
    steps: list[RecordedStep] = []
    while len(steps) < STEPS:
        for item in live.read():
            assert not isinstance(item, Loss)
            steps.append(item)
    assert [step.number for step in steps] == list(range(len(steps)))
    assert (live.lost, live.damaged, live.started_us) == (0, 0, 0)
    # Telemetry counts the edges that steps took by itself.
    frame = [frame for frame in frames if frame.steps <= len(steps)][-1]
    assert frame.steps > 3_000
    assert sum(len(crank_edges(step)) for step in steps[: frame.steps]) == frame.edges > 200
    assert any(step.command_mv > 0 for step in steps)


def test_a_desk_in_a_hurry_waits_for_a_host_that_is_held_up(port):
    live = LiveSteps(port, from_oldest=True, on_frame=lambda frame: None)
    steps: list[RecordedStep] = []
    paused = False
    while len(steps) < STEPS:
        if not paused and len(steps) > 500:
            time.sleep(1.7)  # As on a busy computer. Without waiting the desk would ride 40 s meanwhile.
            paused = True
        for item in live.read():
            assert not isinstance(item, Loss)
            steps.append(item)
    assert [step.number for step in steps] == list(range(len(steps)))


def test_the_stream_is_requested_again_after_three_seconds_or_a_hundred_blocks():
    renewal = Renewal()
    assert renewal.is_due(0.0)
    renewal.requested(10.0)
    assert (renewal.is_due(12.9), renewal.is_due(13.0)) == (False, True)
    for _ in range(99):
        renewal.took_block()
    assert not renewal.is_due(10.5)
    renewal.took_block()
    assert renewal.is_due(10.5)
    renewal.requested(10.5)
    assert not renewal.is_due(10.6)
