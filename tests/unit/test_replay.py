"""A log gives exactly the same outputs again; an error in it is reported in one sentence."""

import random

import pytest

from firmware.controller import Controller
from firmware.settings import Settings
from host_sim.boardlink.recorded import RecordedStep
from host_sim.errors import RequestError
from host_sim.replay.log_file import LogWriter, Section, parse_log, read_log
from host_sim.replay.stepping import replay
from tests.recorded_rides import DrivenRide, Ridden
from tests.unit.test_recorder import blocks_in


def recorded(steps: int, seed: int, edges: int = 2, from_step: int = 0) -> tuple[Ridden, list]:
    """Ride at random; return the ride and its blocks from a step on."""
    ridden = Ridden(seed)
    for number in range(steps):
        if number == from_step:
            ridden.listen()
        ridden.step(edges)
        ridden.listen()
        ridden.turns(30)
    ridden.drain()
    return ridden, blocks_in(ridden.sent)


def section_of(ridden: Ridden, blocks: list) -> Section:
    return Section("paper", "source", ridden.controller.settings.as_dict(), False, blocks)


def log_of(tmp_path, *parts, name: str = "ride.steps"):
    path = tmp_path / name
    with LogWriter(path, force=False, option="--record") as log:
        for ridden, blocks in parts:
            log.begin("paper", "source", ridden.controller.settings.as_dict())
            for block in blocks:
                log.write(block)
    return path


@pytest.mark.long
@pytest.mark.parametrize("seed", range(5))
def test_a_random_life_with_faults_bursts_wraps_and_jumps_is_replayed_to_the_bit(seed):
    ridden, blocks = recorded(1_500, seed, edges=[0, 1, 3, 12, 70][seed])
    found = replay(section_of(ridden, blocks), ridden.controller.settings)
    assert found.parting is None
    assert found.loss is None
    assert found.steps == found.equal > 1_300
    told = [(fault.step, fault.name) for fault in found.faults]
    assert told == [(fault.step, fault.name) for fault in found.board_faults] != []


def test_a_firmware_that_differs_is_caught_at_the_step_where_it_parts(monkeypatch):
    ridden, blocks = recorded(600, 3)
    step = Controller.step

    def later_brake(self, inputs, now_us):
        outputs = step(self, inputs, now_us)
        if len(seen) == 345:
            outputs.indicator ^= 1
        seen.append(now_us)
        return outputs

    seen: list[int] = []
    monkeypatch.setattr(Controller, "step", later_brake)
    found = replay(section_of(ridden, blocks), ridden.controller.settings)
    assert found.parting is not None
    assert found.parting.step == found.equal == 345
    assert set(found.parting.differences) == {"indicator"}
    assert found.parting.sentence().startswith("at step 345, ")


def test_a_log_with_a_hole_is_replayed_up_to_it():
    ridden, blocks = recorded(1_000, 4)
    found = replay(section_of(ridden, blocks[:9] + blocks[10:]), ridden.controller.settings)
    assert found.loss is not None
    assert found.loss.steps in (blocks[9].steps, blocks[9].steps + 1)
    assert found.steps == found.equal


def test_settings_changed_half_way_begin_a_section_of_their_own(tmp_path):
    first, second = recorded(300, 1), recorded(300, 2)
    log = read_log(log_of(tmp_path, first, second))
    assert log.ended
    assert len(log.sections) == 2
    for section in log.sections:
        assert replay(section, Settings(section.settings)).parting is None


# Files that are not whole.


@pytest.fixture(scope="module")
def small(tmp_path_factory) -> bytes:
    path = log_of(tmp_path_factory.mktemp("log"), recorded(60, 5, edges=1))
    return path.read_bytes()


def test_every_bit_flip_in_a_log_is_refused_or_changes_no_step(small):
    truth = [list(section.steps()) for section in parse_log(small, "log").sections]
    for bit in range(8 * len(small)):
        damaged = bytearray(small)
        damaged[bit // 8] ^= 1 << bit % 8
        try:
            log = parse_log(bytes(damaged), "log")
        except RequestError:
            continue
        assert [list(section.steps()) for section in log.sections] == truth


def test_a_log_cut_off_anywhere_is_refused_or_says_that_it_was_interrupted(small):
    for size in range(len(small)):
        try:
            log = parse_log(small[:size], "log")
        except RequestError:
            continue
        assert not log.ended
        assert small[size - 1] == 0


@pytest.mark.parametrize(
    ("content", "said"),
    [
        (b"", "log is not a log of treadle watch"),
        (b"time_s,levels\n1,2\n", "log is not a log of treadle watch"),
        (bytes(1_000), "log is not a log of treadle watch"),
        (b'{"treadle_log": 1}\0', "log at byte 0: the header is damaged"),
        (b'{"treadle_log": 1, "crc32": {}}\0', "log at byte 0: the header is damaged"),
        (b'["treadle_log"]\0', "log at byte 0: there must be a header before"),
    ],
)
def test_a_foreign_file_is_refused_in_a_sentence(content, said):
    with pytest.raises(RequestError, match=said):
        parse_log(content, "log")


def test_random_bytes_behind_a_good_header_are_refused(small):
    header = small[: small.index(b"\0") + 1]
    draw = random.Random(11)
    for _ in range(500):
        with pytest.raises(RequestError):
            parse_log(header + draw.randbytes(draw.randrange(1, 600)), "log")


def test_a_ride_with_help_until_a_wire_breaks_is_replayed_with_every_command():
    ridden = DrivenRide()
    section = Section("paper", "fused", ridden.controller.settings.as_dict(), False, ridden.blocks())
    found = replay(section, ridden.controller.settings)
    assert found.parting is None
    assert found.equal == found.steps > 600
    assert max(step.command_mv for step in section.steps() if isinstance(step, RecordedStep)) > 1_000
    assert [fault.name for fault in found.faults] == ["throttle wire open"]
