"""A fault on the emulated Pico freezes its recorder; what it kept is replayed here, from the middle too."""

import json

import pytest

from host_sim.bikes.load import load_bike
from host_sim.boardlink.frames import Wire
from host_sim.boardlink.recorded import SEQUENCES, Block
from host_sim.replay.log_file import Section
from host_sim.replay.stepping import replay
from tests.emulated import courses
from tests.emulated.measured import files_of
from tests.emulated.pico import emulate, why_missing

pytestmark = [
    pytest.mark.slow,
    pytest.mark.skipif(bool(why_missing()), reason=why_missing()),
    pytest.mark.xdist_group("emulated"),
]
NOISE = "noise on the pedal sensor"
STANDS_S = 8.0  # The last wheel pulse comes at 4.2 s.


@pytest.fixture(scope="module")
def frozen(tmp_path_factory) -> list[Block]:
    """Let interference on the pedal sensor cause a fault; return the blocks that the board says it froze."""
    typed = [
        (STANDS_S * courses.S, '{"request": "freeze"}\n'),
        ((STANDS_S + 0.2) * courses.S, '{"request": "stream all"}\n'),
    ]
    folder = tmp_path_factory.mktemp("black_box")
    heard = emulate(files_of("fused"), folder, courses.NOISE, typed, milliseconds=12_000)
    (answer,) = [json.loads(line) for line in heard.lines if '"ok": "freeze"' in line]
    blocks: list[Block] = []
    Wire(blocks.append).feed(b"".join(content for _, content in heard.serial))
    wanted = {(answer["first"] + number) % SEQUENCES for number in range(answer["blocks"])}
    kept = [block for block in blocks if block.sequence in wanted]
    assert [block.sequence for block in kept] == sorted(wanted)
    return kept


def section_of(blocks: list[Block]) -> Section:
    settings = load_bike("cargo_trike").firmware_settings.as_dict()
    return Section("rpi_pico", "fused", settings, True, blocks)


def test_a_fault_freezes_a_second_more_and_no_later_ride(frozen):
    section = section_of(frozen)
    found = replay(section, load_bike("cargo_trike").firmware_settings)
    assert (found.from_start, found.loss, found.parting) == (True, None, None)
    assert [fault.name for fault in found.faults] == [NOISE]
    assert 150 <= found.steps - found.faults[0].step <= 300


def test_from_the_middle_the_fault_is_found_at_its_step(frozen):
    settings = load_bike("cargo_trike").firmware_settings
    whole = replay(section_of(frozen), settings)
    later = [block for block in frozen if block.step >= whole.faults[0].step - 350]
    found = replay(section_of(later), settings)
    assert not found.from_start
    assert found.parting is None
    assert found.faults == [one for one in found.faults if one.name == NOISE] != []
    assert found.faults[0].step == whole.faults[0].step
    assert found.agrees_from is not None
    assert found.agrees_from < whole.faults[0].step
