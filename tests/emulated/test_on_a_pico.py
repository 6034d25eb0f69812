"""On the emulated Pico the fused form does what the bytecode does, and keeps the goals of its times.

Emulated times are the same in every run and on every host: nothing here depends on the speed of the machine.
"""

import pytest

from host_sim.bikes.load import load_bike
from host_sim.boardlink.frames import Wire
from host_sim.boardlink.recorded import Block
from host_sim.forms.viper.firmware import fused_firmware
from host_sim.replay.log_file import Section
from host_sim.replay.stepping import replay
from tests.emulated import courses
from tests.emulated.c_times import COMPILER, c_times
from tests.emulated.measured import files_of, overruns_on, ride_times, side_by_side, step_times
from tests.emulated.pico import emulate, why_missing
from tests.forms.building import need
from tests.forms.fused_forms import loaded
from tests.forms.lives import SideBySide, told

pytestmark = [
    pytest.mark.skipif(bool(why_missing()), reason=why_missing()),
    pytest.mark.xdist_group("emulated"),
]


@pytest.fixture(scope="module")
def ride(tmp_path_factory):
    return ride_times("fused", tmp_path_factory.mktemp("ride"))


def test_every_form_comes_to_the_same_digest_of_outputs_and_fused_steps_are_quick(tmp_path):
    fused = step_times("fused", tmp_path)
    assert {fused.digest} == {step_times(form, tmp_path).digest for form in ("bytecode", "native")}
    quiet_us, _, longest_us = fused.parts["driving"]
    assert quiet_us <= 300
    assert longest_us <= 500


def test_a_life_on_the_chip_is_equal_in_outputs_and_state_and_comes_to_the_digest_of_this_python(tmp_path):
    fused = fused_firmware()
    here = SideBySide(loaded(fused).Controller, tuple(fused.cells.items()), 1, 2)
    assert here.differences == 0
    assert here.driving > 300
    assert side_by_side(1, 2, tmp_path) == told(here)


def test_a_whole_loop_of_a_ride_stays_below_two_milliseconds_without_an_overrun(ride):
    assert ride.form == "fused"
    assert ride.loops_ms[len(ride.loops_ms) // 2] <= 1.0  # 0.91.
    assert ride.loops_ms[-1] <= 2.0  # 1.5.
    assert ride.overruns == 0
    assert round(ride.steps_a_second) == 200
    assert round(ride.frames_a_second) == 20


def test_the_first_step_comes_within_a_second_and_memory_is_left(ride):
    assert ride.first_step_s <= 1.0  # 0.97.
    assert ride.free_kb >= 60  # 62.7. The recorder's ring takes what is beyond.


def test_a_brake_ends_the_drive_within_a_period_and_half_a_millisecond(ride):
    assert ride.brake_ms <= 5.5  # 5.1, the longest of twenty brakes spread over the period.


@pytest.mark.parametrize(
    "edges", [courses.FAST, courses.NOISE], ids=["192 edges a second", "1000 noise edges"]
)
def test_many_edges_make_no_step_late_and_none_is_lost(edges, tmp_path):
    overruns, lost, _ = overruns_on("fused", edges, tmp_path)
    assert (overruns, lost) == (0, 0)


@pytest.mark.parametrize("edges", [courses.RIDE, courses.NOISE], ids=["ride", "1000 noise edges"])
def test_every_step_is_streamed_without_an_overrun_and_replayed_here_to_the_bit(edges, tmp_path):
    typed = [(1.4 * courses.S, '{"request": "stream all"}\n')]
    heard = emulate(files_of("fused"), tmp_path, edges, typed, milliseconds=4_200)
    blocks: list[Block] = []
    Wire(blocks.append).feed(b"".join(content for _, content in heard.serial))
    settings = load_bike("cargo_trike").firmware_settings
    found = replay(Section("rpi_pico", "fused", settings.as_dict(), False, blocks), settings)
    last = heard.frames[-1]
    assert (found.from_start, found.loss, found.parting) == (True, None, None)
    assert last.steps - 100 < found.steps == found.equal
    assert (last.overruns, last.edges_lost) == (0, 0)


def test_a_request_is_answered_within_a_tenth_of_a_second_while_riding(tmp_path):
    asked_us = 4.0 * courses.S
    typed = [(asked_us, '{"request": "about"}\n')]
    heard = emulate(files_of("fused"), tmp_path, courses.RIDE, typed, milliseconds=4_200)
    answered = [time for time, content in heard.serial if b'"ok": "about"' in content]
    assert answered[0] - asked_us <= 100_000


def test_the_c_form_is_equal_on_the_chip_and_its_driving_step_takes_35_us_in_the_median(tmp_path):
    need(COMPILER)
    times = c_times(tmp_path)
    assert times.said == f"ride: {times.vectors} vectors, 0 differ, digest {times.digest:#x}\n"
    assert len(times.driving_us) > 1_000
    assert times.driving_median_us <= 35  # 34.0 with the divider of the chip.
