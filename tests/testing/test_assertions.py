"""What the assertions of host_sim.testing say, and that each of them can fail."""

import subprocess
import sys

import pytest

from firmware.controller import Controller
from host_sim.testing import (
    ControllerFailed,
    Inputs,
    Outputs,
    assert_no_allocation,
    assert_rule_holds,
    assert_small_integers,
    bench_for,
    measured_by_rule,
)


class Still:
    """Never drives."""

    def __init__(self, settings):
        self.outputs = Outputs()

    def step(self, inputs: Inputs, now_us: int) -> Outputs:
        while inputs.crank.take():
            pass
        return self.outputs


class Multiplying(Still):
    """Makes a number of more than 31 bits."""

    def step(self, inputs: Inputs, now_us: int) -> Outputs:
        assert now_us * 1_000 >= 0
        return super().step(inputs, now_us)


class Dividing(Still):
    """Makes a float."""

    def step(self, inputs: Inputs, now_us: int) -> Outputs:
        assert inputs.battery_mv / 1_000 >= 0.0
        return super().step(inputs, now_us)


class Ours(Controller):
    """A variant of the firmware's controller, which shows everything."""

    __slots__ = ()


def test_the_firmware_holds_its_rules_and_so_does_a_subclass_of_it():
    assert_rule_holds("brake cut", "folding", rides=1)
    assert_rule_holds("selector shares", "cargo_trike", Ours, rides=1)


def test_a_rule_that_needs_what_a_controller_does_not_show_is_not_shown():
    with pytest.raises(AssertionError, match="not shown: this controller doesn't show its states and watts"):
        assert_rule_holds("selector shares", "cargo_trike", Still, rides=1)


def test_a_rule_that_no_ride_comes_to_is_not_shown():
    verdict = measured_by_rule("cut-off distance", "folding", Still, rides=1)
    assert verdict.outcome == "not shown"
    with pytest.raises(AssertionError, match="none of 12 rides tested it"):
        assert_rule_holds("cut-off distance", "folding", Still, rides=1)


def test_a_rule_that_does_not_apply_is_not_passed():
    with pytest.raises(AssertionError, match='"help resumed at speed" does not apply to cargo_trike'):
        assert_rule_holds("help resumed at speed", "cargo_trike", rides=1)


def test_numbers_beyond_31_bits_and_floats_are_noticed():
    assert_small_integers(Still)
    assert_small_integers(None, pulses_per_rev=64)
    with pytest.raises(AssertionError, match=r"Multiplying.step raised OverflowError"):
        assert_small_integers(Multiplying)
    with pytest.raises(AssertionError, match=r"Dividing.step raised TypeError"):
        assert_small_integers(Dividing)


def test_memory_that_a_step_takes_is_noticed(tmp_path):
    source = """
class Still:
    def __init__(self, settings):
        from firmware.records import Outputs
        self.outputs = Outputs()
    def step(self, inputs, now_us):
        while inputs.crank.take():
            {}
        return self.outputs
"""
    (tmp_path / "still.py").write_text(source.format("pass"))
    assert assert_no_allocation(tmp_path / "still.py", "Still", steps=400) == 0
    (tmp_path / "listing.py").write_text(source.format("self.seen = [now_us]"))
    with pytest.raises(AssertionError, match=r"Still in listing\.py under MicroPython: MemoryError"):
        assert_no_allocation(tmp_path / "listing.py", "Still", steps=400)


def test_what_a_controller_raises_and_returns_is_said():
    class Raising(Still):
        def step(self, inputs: Inputs, now_us: int) -> Outputs:
            raise ValueError("no\nidea")

    class Silent(Still):
        def step(self, inputs: Inputs, now_us: int) -> Outputs:
            return None  # type: ignore[return-value]

    class Floating(Still):
        def step(self, inputs: Inputs, now_us: int) -> Outputs:
            self.outputs.command_mv = 1.5  # type: ignore[assignment]
            return self.outputs

    for controller, said in (
        (Raising, r"Raising.step raised ValueError: no idea \(test_assertions.py, line \d+\)"),
        (Silent, "Silent.step returned NoneType without command_mv"),
        (Floating, "Floating.step returned command_mv 1.5, allowed is a whole number from 0 to 5000"),
    ):
        with pytest.raises(ControllerFailed, match=said):
            assert_rule_holds("brake cut", "folding", controller, rides=1)


def test_a_constructor_gets_the_time_if_it_asks_for_it():
    class Timed(Still):
        def __init__(self, settings, now_us):
            super().__init__(settings)
            assert now_us >= 0

    class Optional(Still):
        def __init__(self, settings, gain=3):
            super().__init__(settings)
            assert gain == 3

    class Needy:
        def __init__(self):
            raise AssertionError

    from host_sim.testing import CourseScript, load_course

    course = load_course("errand")
    for controller in (Still, Timed, Optional):
        bench_for("folding", 1, controller).ride(CourseScript(course), 1.0)
    with pytest.raises(ControllerFailed, match=r"Needy\(settings\) raised TypeError"):
        bench_for("folding", 1, Needy).ride(CourseScript(course), 1.0)


def test_the_plugin_of_pytest_loads_nothing_else_of_treadle():
    code = "import sys, host_sim.pytest_fixtures; print(*sorted(sys.modules))"
    said = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True).stdout
    ours = [name for name in said.split() if name.startswith(("boards", "firmware", "host_sim"))]
    assert ours == ["host_sim", "host_sim.pytest_fixtures"]
