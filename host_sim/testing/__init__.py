"""Tools for testing your own controller on the bench. The names in `__all__` are stable.

Hypothesis strategies are in `host_sim.testing.strategies`, fixtures for pytest in `host_sim.pytest_fixtures`.
"""

from firmware.records import Inputs, Outputs
from firmware.settings import Settings
from host_sim.bench.course import course_from, load_course
from host_sim.bench.foreign import AnyController
from host_sim.bench.ride import Bench
from host_sim.bench.script import CourseScript
from host_sim.bikes.load import load_bike
from host_sim.bikes.model import Bike
from host_sim.errors import ControllerFailed
from host_sim.proof.numbers import Numbers
from host_sim.rig.rig import Rig
from host_sim.rig.small_int import SmallInt
from host_sim.rig.small_settings import settings_with
from host_sim.testing.benches import bench_for, example_bike, rig_for
from host_sim.testing.heap_lock import assert_no_allocation
from host_sim.testing.held_rules import assert_rule_holds, measured_by_rule
from host_sim.testing.lemmas import assert_proved
from host_sim.testing.whole_numbers import assert_small_integers

__all__ = [
    "AnyController",
    "Bench",
    "Bike",
    "ControllerFailed",
    "CourseScript",
    "Inputs",
    "Numbers",
    "Outputs",
    "Rig",
    "Settings",
    "SmallInt",
    "assert_no_allocation",
    "assert_proved",
    "assert_rule_holds",
    "assert_small_integers",
    "bench_for",
    "course_from",
    "example_bike",
    "load_bike",
    "load_course",
    "measured_by_rule",
    "rig_for",
    "settings_with",
]
