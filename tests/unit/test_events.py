"""The most urgent event that holds is the one that is taken."""

import pytest

from firmware.decide.engagement import (
    BACKWARD,
    BRAKE,
    FAULT,
    NOTHING,
    PEDALLING,
    REST,
    SLOW,
    STOPPED,
    THROTTLE,
    THROTTLE_ALONE,
)
from firmware.decide.events import Events
from firmware.decide.pedalling import Pedalling
from firmware.sense.crank import Crank
from firmware.sense.levers import Throttle
from firmware.sense.rotation import Wheel
from host_sim.rig.small_int import SmallInt
from host_sim.rig.small_settings import settings_with


class Facts:
    """Facts as a test wants them; by default the crank turns between its two thresholds."""

    def __init__(self, **settings: int):
        made = settings_with(**settings)
        self.crank = Crank(made, SmallInt(0))
        self.pedalling = Pedalling(made)
        self.pedalling.stopped = False
        self.pedalling.slow = False
        self.throttle = Throttle(made)
        self.throttle.rest_seen = True
        self.fault_cause = 0
        self.brake_pulled = False
        self.wheel = Wheel(made.wheel_circumference_mm, made.wheel_pulses_per_rev)
        self.events = Events(made, self.crank, self.pedalling, self.throttle, self.wheel)

    def choose(self) -> int:
        return self.events.choose(self.fault_cause, self.brake_pulled)

    def rested(self) -> "Facts":
        """Stand with the throttle at rest for 20 steps, then go on standing."""
        self.crank.standing = True
        for _ in range(20):
            self.choose()
        return self


def test_each_event_is_taken_over_all_that_are_less_urgent():
    facts = Facts(throttle_unpedalled=2).rested()
    facts.pedalling.stopped = True
    facts.pedalling.slow = True
    facts.pedalling.engages = True
    facts.pedalling.backward = True
    facts.brake_pulled = True
    facts.fault_cause = 4
    assert facts.choose() == FAULT
    facts.fault_cause = 0
    assert facts.choose() == BRAKE
    facts.brake_pulled = False
    assert facts.choose() == BACKWARD
    facts.pedalling.backward = False
    assert facts.choose() == PEDALLING
    facts.pedalling.engages = False
    assert facts.choose() == REST
    facts.crank.standing = False
    assert facts.choose() == STOPPED
    facts.pedalling.stopped = False
    assert facts.choose() == SLOW
    facts.pedalling.slow = False
    assert facts.choose() == NOTHING


@pytest.mark.parametrize(("stopped", "slow"), [(True, False), (False, True), (True, True)])
def test_an_open_throttle_drives_alone_when_the_crank_gives_no_reason(stopped, slow):
    facts = Facts()
    facts.throttle.share_permille = 1
    facts.pedalling.stopped = stopped
    facts.pedalling.slow = slow
    assert facts.choose() == THROTTLE_ALONE


def test_an_open_throttle_beside_a_turning_crank_is_the_lesser_event():
    facts = Facts()
    facts.throttle.share_permille = 1
    assert facts.choose() == THROTTLE
    facts.pedalling.engages = True
    assert facts.choose() == PEDALLING


@pytest.mark.parametrize(
    ("unpedalled", "speed_mm_per_s", "event"),
    # European practice lets a throttle work unpedalled below 6 km/h (1666 mm/s) only:
    # EN 15194:2017 4.2.12, by the parallel text TBIS 15194:2019.
    [
        (0, 0, STOPPED),
        (1, 0, THROTTLE_ALONE),
        (1, 1_665, THROTTLE_ALONE),
        (1, 1_666, STOPPED),
        (2, 9_000, THROTTLE_ALONE),
    ],
)
def test_the_place_decides_when_the_throttle_may_drive_alone(unpedalled, speed_mm_per_s, event):
    facts = Facts(throttle_unpedalled=unpedalled)
    facts.throttle.share_permille = 1_000
    facts.pedalling.stopped = True
    facts.wheel.speed_mm_per_s = speed_mm_per_s
    assert facts.choose() == event


def test_rest_takes_20_steps_in_a_row_with_crank_and_throttle_at_rest():
    facts = Facts()
    facts.pedalling.stopped = True
    facts.crank.standing = True
    assert [facts.choose() for _ in range(20)] == [STOPPED] * 19 + [REST]
    assert facts.choose() == REST
    facts.crank.standing = False
    assert facts.choose() == STOPPED
    facts.crank.standing = True
    assert [facts.choose() for _ in range(20)] == [STOPPED] * 19 + [REST]


@pytest.mark.parametrize(("share_permille", "rest_seen"), [(1, True), (0, False)])
def test_an_open_or_unproven_throttle_is_no_rest(share_permille, rest_seen):
    facts = Facts(throttle_unpedalled=0)
    facts.pedalling.stopped = True
    facts.throttle.share_permille = share_permille
    facts.throttle.rest_seen = rest_seen
    facts.rested()
    assert facts.choose() == STOPPED


def test_the_time_at_rest_also_counts_under_the_brake():
    facts = Facts()
    facts.pedalling.stopped = True
    facts.brake_pulled = True
    facts.rested()
    facts.brake_pulled = False
    assert facts.choose() == REST
