"""What the assertions of host_sim.testing say, and that each of them can fail."""

import ast
import subprocess
import sys
from functools import partial

import pytest
from hypothesis import Phase, given, settings

from firmware.controller import Controller
from host_sim.testing import (
    ControllerFailed,
    Inputs,
    Outputs,
    assert_no_allocation,
    assert_rule_holds,
    assert_small_integers,
    bench_for,
    course_from,
    example_bike,
    measured_by_rule,
    rig_for,
    settings_with,
)
from host_sim.testing.strategies import bikes, rides


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


def test_a_class_in_a_package_runs_under_micropython_with_its_relative_imports(tmp_path):
    inner = tmp_path / "assistance" / "inner"
    inner.mkdir(parents=True)
    (inner.parent / "__init__.py").write_text("")
    (inner / "__init__.py").write_text("")
    (inner.parent / "steady.py").write_text("COMMAND_MV = 1_200\n")
    (inner / "driving.py").write_text(
        "from firmware.records import Outputs\n"
        "from ..steady import COMMAND_MV\n"
        "class Driving:\n"
        "    def __init__(self, settings):\n"
        "        self.outputs = Outputs()\n"
        "        self.outputs.command_mv = COMMAND_MV\n"
        "    def step(self, inputs, now_us):\n"
        "        return self.outputs\n"
    )
    assert assert_no_allocation(inner / "driving.py", "Driving", steps=40) == 40


def test_a_rig_takes_any_controller_with_drawn_settings_or_single_ones():
    assert rig_for(Still, pulses_per_rev=24).settings.pulses_per_rev == 24
    rig = rig_for(controller=Still, settings=settings_with(pulses_per_rev=8))
    assert rig.run(500, rpm=60).command_mv == 0
    assert rig_for(pulses_per_rev=24).ready().run(2_000, rpm=60).command_mv > 0
    with pytest.raises(TypeError, match="settings and single values are both given"):
        rig_for(Still, settings_with(), pulses_per_rev=24)


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

    class Vague(Still):
        def step(self, inputs: Inputs, now_us: int) -> Outputs:
            self.outputs.drive_enabled = None  # type: ignore[assignment]
            return self.outputs

    class Blue(Still):
        def step(self, inputs: Inputs, now_us: int) -> Outputs:
            self.outputs.indicator = "blue"  # type: ignore[assignment]
            return self.outputs

    class Choosy(Still):
        def __init__(self, settings, gain):
            super().__init__(settings)
            self.outputs.command_mv = -gain

    for controller, said in (
        (Raising, r"Raising.step raised ValueError: no idea \(test_assertions.py, line \d+\)"),
        (Silent, "Silent.step returned NoneType without command_mv"),
        (Floating, "Floating.step returned command_mv 1.5, allowed is a whole number from 0 to 5000"),
        (Vague, "Vague.step returned drive_enabled None, allowed is True or False"),
        (Blue, "Blue.step returned indicator 'blue', allowed is a whole number from 0 to 3"),
        (partial(Choosy, gain=2), "Choosy.step returned command_mv -2, allowed"),
        (lambda settings: Choosy(settings, 3), "Choosy.step returned command_mv -3, allowed"),
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


def test_a_failing_search_prints_calls_that_repeat_its_bike_and_its_ride():
    seen = []

    @settings(max_examples=1, phases=[Phase.generate], database=None, derandomize=True)
    @given(bike=bikes("folding"), ride=rides(seconds=10, faulty=True))
    def failing(bike, ride):
        seen.append((bike, ride))
        raise AssertionError("as it should")

    with pytest.raises(AssertionError) as caught:
        failing()
    printed = "\n".join(caught.value.__notes__)
    calls = ast.parse(printed[printed.index("failing(") :].partition("\n)")[0] + "\n)").body[0].value.keywords
    names = {"example_bike": example_bike, "course_from": course_from}
    again = {call.arg: eval(ast.unparse(call.value), names) for call in calls}
    bike, ride = seen[-1]
    assert again["bike"].model_dump() == bike.model_dump()
    assert [stretch.faults for stretch in again["ride"].stretches] == [one.faults for one in ride.stretches]


def test_the_plugin_of_pytest_loads_nothing_else_of_treadle():
    code = "import sys, host_sim.pytest_fixtures; print(*sorted(sys.modules))"
    said = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True).stdout
    ours = [name for name in said.split() if name.startswith(("boards", "firmware", "host_sim"))]
    assert ours == ["host_sim", "host_sim.pytest_fixtures"]


def test_the_bench_is_found_where_it_is_looked_for():
    import host_sim.bench
    from host_sim.testing import Bench

    assert host_sim.bench.Bench is Bench
    with pytest.raises(AttributeError, match=r"^module 'host_sim\.bench' has no attribute 'Bank'$"):
        host_sim.bench.Bank  # noqa: B018 - the access itself is tested
