"""The meter against events made by hand: who helped, for how long after what, and how far."""

from types import SimpleNamespace

import pytest

from firmware.decide.engagement import ASSISTING, READY, THROTTLING
from firmware.settings import THROTTLE_BELOW_STARTUP_SPEED, THROTTLE_FREELY, THROTTLE_NEVER
from host_sim.bench.meter import EVENTS_KEPT, Meter


class Story:
    """A world that does what the test says: 10 ms a line, at an even speed."""

    def __init__(self, unpedalled: int = THROTTLE_BELOW_STARTUP_SPEED, speed_m_per_s: float = 5.0) -> None:
        self.driving = False
        self.motor = SimpleNamespace(assisting=lambda: self.driving)
        self.bicycle = SimpleNamespace(speed_m_per_s=speed_m_per_s, distance_m=0.0)
        self.world = SimpleNamespace(
            motor=self.motor,
            bicycle=self.bicycle,
            throttle_share=0.0,
            now_us=0,
            last_forward_us=0,
            last_forward_m=0.0,
        )
        settings = SimpleNamespace(throttle_unpedalled=unpedalled, startup_speed_mm_per_s=1666)
        self.engagement = SimpleNamespace(state=READY)
        self.outputs = SimpleNamespace(command_mv=0, fault_cause=0)
        self.meter = Meter()
        self.meter.begin(self.world, SimpleNamespace(engagement=self.engagement, settings=settings))

    def go(self, periods: int, pedalling: bool, driving: bool, throttle: float = 0.0) -> None:
        self.driving = driving
        world = self.world
        for _ in range(periods):
            world.now_us += 10_000
            world.throttle_share = throttle
            self.bicycle.distance_m += self.bicycle.speed_m_per_s * 0.01
            if pedalling:
                world.last_forward_us = world.now_us
                world.last_forward_m = self.bicycle.distance_m
            self.meter.look(self.outputs)


def test_run_on_and_cut_off_distance_count_from_the_stop_of_the_crank():
    story = Story()
    story.go(100, pedalling=True, driving=False)
    story.go(200, pedalling=True, driving=True)
    story.go(20, pedalling=False, driving=True)
    story.go(50, pedalling=False, driving=False)
    assert story.meter.first_assist_s == pytest.approx(1.01)
    assert story.meter.longest_run_on_s == pytest.approx(0.20)
    assert story.meter.longest_cutoff_distance_m == pytest.approx(1.0)


def test_the_longest_of_several_run_ons_is_kept():
    story = Story()
    for periods in (10, 30, 20):
        story.go(100, pedalling=True, driving=True)
        story.go(periods, pedalling=False, driving=True)
        story.go(10, pedalling=False, driving=False)
    assert story.meter.longest_run_on_s == pytest.approx(0.30)


@pytest.mark.parametrize("unpedalled", [THROTTLE_BELOW_STARTUP_SPEED, THROTTLE_FREELY])
def test_help_of_a_throttle_that_may_drive_is_no_run_on(unpedalled):
    story = Story(unpedalled, speed_m_per_s=1.0)
    story.go(100, pedalling=True, driving=False)
    story.go(100, pedalling=False, driving=False)
    story.go(500, pedalling=False, driving=True, throttle=0.5)
    story.go(10, pedalling=False, driving=True)  # It fades.
    story.go(10, pedalling=False, driving=False)
    assert story.meter.longest_run_on_s == 0.0


@pytest.mark.parametrize("unpedalled", [THROTTLE_NEVER, THROTTLE_BELOW_STARTUP_SPEED])
def test_a_throttle_held_open_excuses_no_run_on_where_it_may_not_drive(unpedalled):
    story = Story(unpedalled, speed_m_per_s=5.0)
    story.go(300, pedalling=True, driving=True, throttle=0.8)
    story.go(40, pedalling=False, driving=True, throttle=0.8)
    assert story.meter.longest_run_on_s == pytest.approx(0.40)
    assert story.meter.longest_cutoff_distance_m == pytest.approx(2.0)


def test_a_throttle_used_long_ago_excuses_no_run_on_of_the_pedals():
    story = Story(speed_m_per_s=1.0)
    story.go(100, pedalling=False, driving=True, throttle=0.5)
    story.go(100, pedalling=True, driving=True, throttle=0.5)
    story.go(500, pedalling=True, driving=True)  # The motor never paused in between.
    story.go(25, pedalling=False, driving=True)
    assert story.meter.longest_run_on_s == pytest.approx(0.25)


def test_engagements_are_those_by_the_pedals_and_the_story_is_noted():
    story = Story()
    for state in (ASSISTING, READY, THROTTLING, ASSISTING, ASSISTING, READY):
        story.engagement.state = state
        story.go(1, pedalling=False, driving=False)
    assert story.meter.engagements == 2
    told = [event.text for event in story.meter.events]
    assert told == ["power on", "assisting", "ready", "throttling", "assisting", "ready"]
    assert story.meter.events[3].time_s == pytest.approx(0.03)


def test_a_fault_is_listed_once_by_its_cause():
    story = Story()
    story.outputs.fault_cause = 4
    story.go(5, pedalling=False, driving=False)
    story.outputs.fault_cause = 0
    story.go(5, pedalling=False, driving=False)
    assert story.meter.faults == ["throttle wire open"]


def test_the_highest_command_and_speed_are_kept():
    story = Story()
    for command_mv, speed_m_per_s in ((1200, 3.0), (2500, 7.5), (900, 6.0)):
        story.outputs.command_mv = command_mv
        story.bicycle.speed_m_per_s = speed_m_per_s
        story.go(1, pedalling=True, driving=True)
    assert story.meter.max_command_mv == 2500
    assert story.meter.max_speed_m_per_s == 7.5


def test_a_story_without_end_is_counted_but_not_kept():
    story = Story()
    for turn in range(EVENTS_KEPT + 10):
        story.engagement.state = ASSISTING if turn % 2 == 0 else READY
        story.go(1, pedalling=False, driving=False)
    assert len(story.meter.events) == EVENTS_KEPT
    assert story.meter.events_dropped == 11  # "power on" was one more.


def test_without_supply_the_switching_off_is_told_once_and_help_still_counts():
    story = Story()
    story.go(100, pedalling=True, driving=True)
    for _ in range(5):
        story.world.now_us += 10_000
        story.meter.look_unpowered(story.world)
    assert [event.text for event in story.meter.events] == ["power on", "power off"]
    assert story.meter.longest_run_on_s == pytest.approx(0.05)
