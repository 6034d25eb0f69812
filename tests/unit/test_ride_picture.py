"""What the picture of a ride says agrees with the ride: numbered edges, the gear, and the worst moment."""

import matplotlib.pyplot as plt
import numpy as np
import pytest

from firmware.decide.engagement import ASSISTING
from host_sim.bench.assemble import bench_for
from host_sim.bench.course import course_from
from host_sim.bench.script import CourseScript
from host_sim.bench.trace import EdgeWindow
from host_sim.bikes.load import load_bike
from host_sim.report.edges_figure import draw_edges, gear_words
from host_sim.report.ride_facts import RideFacts
from host_sim.rules.catalogue import RULES
from host_sim.rules.worst_moment import MomentWindow, whole_second, worst_moment_us

LINES = [
    {"at_s": 0, "cadence_rpm": 0, "effort_w": 90},
    {"at_s": 2, "cadence_rpm": 60},
    {"at_s": 5, "cadence_rpm": 0},
]
TRACE = {
    "time_s": np.array([0.0, 1.0, 2.0, 3.0, 4.0]),
    "cadence_rpm": np.array([0.0, 60.0, 60.0, 60.0, 60.0]),
    "speed_m_per_s": np.array([0.0, 0.2, 1.0, 2.0, 2.5]),
    "command_v": np.array([0.0, 1.0, 2.0, 2.0, 2.0]),
}


def _facts(bike, window, **more):
    return RideFacts(
        bike="A bike", ride="A ride", seconds=8.0, settings=bike.firmware_settings, events=[],
        edges=window.edges, edges_before=window.before, edges_centre_us=window.centre_us, **more,
    )  # fmt: skip


def _ridden(bike):
    bench = bench_for(bike, 1)
    window = EdgeWindow(ASSISTING, bench.world.pedal_sensor.levels)
    bench.watch(window)
    bench.watch_edges(window)
    bench.ride(CourseScript(course_from("a", "a", 8.0, LINES)), 8.0)
    return window


def _texts(facts, trace=TRACE):
    figure, axes = plt.subplots()
    draw_edges(axes, facts, trace)
    told = [one.get_text().strip() for one in axes.texts], axes.get_xlabel()
    plt.close(figure)
    return told


@pytest.mark.parametrize("name", ["cargo_trike", "tandem"])
def test_as_many_edges_are_numbered_as_the_caption_names(name):
    bike = load_bike(name)
    texts, _ = _texts(_facts(bike, _ridden(bike)))
    edges = bike.firmware_settings.engage_edges
    assert [one for one in texts if one.isdigit()] == [str(number) for number in range(1, edges + 1)]
    assert any(one.startswith(f"engages: {edges} forward edges in a row") for one in texts)


def test_the_picture_says_until_when_a_crank_outruns_the_wheel_in_its_lowest_gear():
    bike = load_bike("cargo_trike")
    facts = _facts(bike, _ridden(bike), lowest_gear_m=1.9)
    # A turn a second in a gear of 1.9 m is 1.9 m/s: reached at 3 s.
    assert "in the lowest gear, 1.9 m a turn, at 3.0 s" in gear_words(facts, TRACE, 1.0)
    assert gear_words(facts, TRACE, 3.0) == ""
    assert gear_words(_facts(bike, _ridden(bike)), TRACE, 1.0) == ""
    slow = {**TRACE, "speed_m_per_s": np.zeros(5)}
    assert gear_words(facts, slow, 1.0) == ""


def test_a_broken_rule_is_enlarged_at_its_worst_moment():
    bike = load_bike("folding")
    rule = next(rule for rule in RULES if rule.name == "cut-off distance")
    scenario = next(kind for kind in rule.scenarios if kind.name == "hilly ride")
    case = scenario.case(bike, 2)
    moment_us = worst_moment_us(case, rule)
    # Pedalled backward from 28 s on, this bicycle drives as long as its crank turns so.
    assert 30e6 < moment_us < 36e6
    case = scenario.case(bike, 2)
    bench = case.bench()
    window = MomentWindow(moment_us, bench.world.pedal_sensor.levels)
    bench.watch(window)
    bench.watch_edges(window)
    bench.ride(case.script(), case.course.seconds)
    assert window.centre_us == moment_us
    times_us = [time_us for time_us, _ in window.edges]
    assert times_us
    assert moment_us - 500_000 <= min(times_us) <= max(times_us) <= moment_us + 500_000
    texts, label = _texts(_facts(bike, window, worst=(moment_us, "worst here: 35.8 against 2 m")))
    assert any("worst here: 35.8 against 2 m (shaded: command, up to 2.0 V)" in one for one in texts)
    assert f"one second around {moment_us / 1e6:.2f} s" in label
    assert not any("engages" in one for one in texts)


def test_the_enlarged_second_lies_within_the_ride():
    assert whole_second(0, 10.0) == 500_000
    assert whole_second(4_200_000, 10.0) == 4_200_000
    assert whole_second(10_000_000, 10.0) == 9_500_000
