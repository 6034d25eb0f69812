"""A log from the middle of a ride is replayed bit for bit: its state is worked out, and no fault is hidden.

`tests/benchmarks/replay_windows.py` attacks with many more windows.
"""

from functools import cache
from typing import Any

import pytest

from firmware.controller import Controller
from firmware.drive.power_loop import PowerLoop
from firmware.guard.faults import Faults
from firmware.settings import Settings
from host_sim.bench.course import course_from
from host_sim.bench.script import CourseScript
from host_sim.bikes.load import load_bike
from host_sim.replay.log_file import Section
from host_sim.replay.stepping import Replay, replay
from tests.bench_log import ridden_section
from tests.quick_first import quick_first

RING_STEPS = 4_000  # 20 s: what a board keeps.
BIKES = ("cargo_trike", "folding", "step_through", "tandem")
LOOPED = ("cargo_trike", "tandem")  # On this climb nothing but the power loop decides the command.
RIDDEN: list[dict[str, Any]] = [
    {"at_s": 0, "cadence_rpm": 0},
    {"at_s": 3, "cadence_rpm": 62, "effort_w": 90.0},
    {"at_s": 20, "over_s": 8, "cadence_rpm": 70, "grade_percent": 2.0},
]
FAULTS = (
    "throttle wire open",
    "selector wire shorted",
    "wheel sensor lost",
    "shunt reading dead",
    "channel dead",
    "battery wire open",
)


def window(section: Section, first: int, steps: int = RING_STEPS) -> Section:
    """Return what a ring would have kept from the block on that holds step `first`."""
    kept = [block for block in section.blocks if first <= block.step < first + steps]
    return Section(section.board, section.form, section.settings, True, kept)


def replayed(section: Section) -> Replay:
    return replay(section, Settings(section.settings))


def settled_after(section: Section, found: Replay) -> int:
    """Return after how many steps the firmware agrees for good."""
    assert found.parting is None, found.parting.sentence()
    assert found.agrees_from is not None
    return found.agrees_from - section.blocks[0].step


@pytest.fixture(scope="module", params=BIKES)
def climbing(request):
    return climb_of(request.param)


@cache
def climb_of(bike: str) -> Section:
    course = course_from("climb", "a climb", 45.0, RIDDEN)
    return ridden_section(load_bike(bike), CourseScript(course), 45.0, seed=2)


@pytest.mark.long
@pytest.mark.parametrize("second", [8, 21, 24])
def test_a_ring_frozen_while_the_motor_helps_is_replayed_to_the_bit_within_seconds(climbing, second):
    ring = window(climbing, second * 200)
    found = replayed(ring)
    assert not found.from_start
    assert settled_after(ring, found) <= 600
    assert found.put_right <= 150


@pytest.mark.parametrize("fault", quick_first(2, FAULTS))
def test_a_fault_in_the_middle_of_a_ride_is_found_at_its_step_and_never_taken_from_the_log(fault):
    bike = load_bike("tandem")
    spec = {"name": fault} | ({"channel": "A"} if fault == "channel dead" else {})
    lines = [*RIDDEN, {"at_s": 38, "fault": [spec]}]
    section = ridden_section(bike, CourseScript(course_from("fails", fault, 50.0, lines)), 50.0, seed=4)
    ring = window(section, 22 * 200, 28 * 200)
    found = replayed(ring)
    settled_after(ring, found)
    assert found.board_faults
    assert [(one.step, one.name) for one in found.faults] == [
        (one.step, one.name) for one in found.board_faults
    ]
    assert found.agrees_from is not None
    assert found.agrees_from < found.board_faults[0].step - 1_000


def test_a_firmware_that_does_not_find_the_fault_parts_where_the_board_found_it(monkeypatch):
    lines = [*RIDDEN, {"at_s": 38, "fault": [{"name": "throttle wire open"}]}]
    course = course_from("fails", "a wire breaks", 45.0, lines)
    section = ridden_section(load_bike("cargo_trike"), CourseScript(course), 45.0, seed=4)
    monkeypatch.setattr(Faults, "_check_wires", lambda self: 0)
    found = replayed(window(section, 30 * 200))
    assert found.board_faults[0].name == "throttle wire open"
    assert found.parting is not None
    assert found.parting.step == found.board_faults[0].step


@pytest.mark.parametrize("bike", quick_first(1, LOOPED))
@pytest.mark.parametrize("percent", [98, 102])
def test_a_power_loop_whose_gain_is_off_by_a_fiftieth_parts(monkeypatch, bike, percent):
    plain = PowerLoop.__init__

    def off(self, settings, now_us):
        plain(self, settings, now_us)
        self._gain_uv_per_w = self._gain_uv_per_w * percent // 100

    ring = window(climb_of(bike), 21 * 200)
    assert replayed(ring).parting is None
    monkeypatch.setattr(PowerLoop, "__init__", off)
    found = replayed(ring)
    assert found.parting is not None
    assert set(found.parting.differences) == {"command_mv"}


def test_a_decision_that_differs_late_in_the_log_is_not_put_down_to_its_beginning(monkeypatch, climbing):
    ring = window(climbing, 21 * 200)
    last = replayed(ring).steps
    step = Controller.step

    def otherwise(self, inputs, now_us):
        outputs = step(self, inputs, now_us)
        taken[self] = taken.get(self, 0) + 1
        if taken[self] == last - 500:
            outputs.indicator ^= 1
        return outputs

    taken: dict[Controller, int] = {}
    monkeypatch.setattr(Controller, "step", otherwise)
    found = replayed(ring)
    assert found.parting is not None
    assert set(found.parting.differences) == {"indicator"}


def test_other_settings_are_not_put_right_towards_what_the_board_did(climbing):
    ring = window(climbing, 21 * 200)
    weaker = Settings(ring.settings | {"power_limit_w": 60})
    found = replay(ring, weaker)
    assert found.parting is not None
    assert found.different > 2_000


def test_a_log_that_begins_at_rest_agrees_from_its_first_steps(climbing):
    ring = window(climbing, 200, 400)
    assert settled_after(ring, replayed(ring)) <= 100
