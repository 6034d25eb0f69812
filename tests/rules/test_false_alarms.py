"""Healthy bicycles with wrong settings, slipping wheels and controllers that cut out latch no fault.

The slow target rides 10,000 of them, compiled: `uv run pytest -m slow -s tests/rules/test_false_alarms.py`.
FALSE_ALARM_RIDES and FALSE_ALARM_FIRST change how many there are and where they begin.
"""

import os
import sys

import pytest

from host_sim.compiled.workers import Workers
from tests.rules.false_alarm_rides import false_alarm_case, latched_on

pytestmark = pytest.mark.slow


def test_a_ride_is_repeated_by_its_number():
    one, other = false_alarm_case(5), false_alarm_case(5)
    assert one.settings.as_dict() == other.settings.as_dict()
    assert one.course.seconds == other.course.seconds


@pytest.mark.parametrize("first", [1, 21])
def test_twenty_rides_latch_no_fault(first):
    latched = [latched_on(number) for number in range(first, first + 20)]
    assert [found for found in latched if found[1]] == []


def test_the_rides_have_what_they_are_to_have():
    cases = [false_alarm_case(number) for number in range(200)]
    events = [fault.name for case in cases for stretch in case.course.stretches for fault in stretch.faults]
    assert min(events.count("wheel slips"), events.count("motor controller cuts out")) > 50
    assert {case.settings.motor_kind for case in cases} == {1, 2}
    assert {case.settings.wheel_pulses_per_rev for case in cases} == {1, 2, 6}
    assert {case.bike.shunt.noise_a for case in cases} == {0.0, 0.05, 0.15, 0.4}


@pytest.mark.slow
def test_ten_thousand_rides_latch_no_fault(capsys):
    rides = int(os.environ.get("FALSE_ALARM_RIDES", "10000"))
    first = int(os.environ.get("FALSE_ALARM_FIRST", "1"))
    alarms = []
    with Workers(os.cpu_count() or 1) as workers, capsys.disabled():
        for number, latched in workers.map(latched_on, range(first, first + rides), batch=20):
            if latched:
                alarms.append((number, latched))
                sys.stdout.write(f"\nride {number}: {latched}")
        sys.stdout.write(f"\n{rides} rides from {first} on, {len(alarms)} with a fault\n")
    assert alarms == []
