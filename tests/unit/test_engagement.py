"""The table of states and events is total, and its safe states are always in reach."""

import pytest

from firmware.decide import engagement
from firmware.decide.engagement import (
    ASSISTING,
    BACKWARD,
    BRAKE,
    BRAKED,
    EVENT_NAMES,
    FAULT,
    FAULTED,
    NOTHING,
    PEDALLING,
    READY,
    REST,
    SLOW,
    STATE_NAMES,
    STOPPED,
    THROTTLE,
    THROTTLE_ALONE,
    THROTTLING,
    TRANSITIONS,
    WAITING,
    Engagement,
)

STATES = range(6)
EVENTS = range(10)
DRIVING = {ASSISTING, THROTTLING}


def reachable(start: int) -> set:
    found = {start}
    while True:
        grown = found | {TRANSITIONS[state][event] for state in found for event in EVENTS}
        if grown == found:
            return found
        found = grown


def after(*events: int) -> int:
    taken = Engagement()
    for event in events:
        taken.step(event)
    return taken.state


def test_the_table_is_total():
    assert [len(row) for row in TRANSITIONS] == [10] * 6
    assert all(target in STATES for row in TRANSITIONS for target in row)
    assert len(STATE_NAMES) == 6
    assert len(EVENT_NAMES) == 10


def test_states_and_events_are_numbered_in_the_order_of_their_names():
    assert (WAITING, READY, ASSISTING, THROTTLING, BRAKED, FAULTED) == (0, 1, 2, 3, 4, 5)
    assert STATE_NAMES == ("waiting", "ready", "assisting", "throttling", "braked", "faulted")
    for number, name in enumerate(EVENT_NAMES):
        assert getattr(engagement, name.upper().replace(" ", "_")) == number


def test_events_come_most_urgent_first():
    assert FAULT < BRAKE < BACKWARD < PEDALLING < THROTTLE_ALONE < REST < STOPPED < SLOW < THROTTLE < NOTHING


@pytest.mark.parametrize("state", STATES)
def test_every_state_is_reached_from_power_up_and_every_safe_one_from_everywhere(state):
    assert state in reachable(WAITING)
    assert {WAITING, READY, BRAKED, FAULTED} <= reachable(state)


@pytest.mark.parametrize("state", STATES)
def test_a_fault_leads_to_faulted_from_everywhere(state):
    assert TRANSITIONS[state][FAULT] == FAULTED


@pytest.mark.parametrize("event", EVENTS)
def test_from_faulted_one_comes_to_waiting_only(event):
    # No automatic restart, and pedalling is no intervention of the rider: EN 15194:2017 4.2.13.1 g,
    # by the parallel text TBIS 15194:2019.
    assert TRANSITIONS[FAULTED][event] == (FAULTED if event == FAULT else WAITING)


@pytest.mark.parametrize("event", [event for event in EVENTS if event not in (FAULT, REST)])
def test_only_rest_leaves_waiting(event):
    assert TRANSITIONS[WAITING][event] == WAITING


def test_rest_leaves_waiting():
    assert TRANSITIONS[WAITING][REST] == READY


@pytest.mark.parametrize("state", STATES)
@pytest.mark.parametrize("event", [FAULT, BRAKE, BACKWARD, REST, STOPPED, SLOW])
def test_no_reason_to_end_the_drive_ever_begins_or_keeps_it(state, event):
    assert TRANSITIONS[state][event] not in DRIVING


@pytest.mark.parametrize("state", [WAITING, BRAKED, FAULTED])
@pytest.mark.parametrize("event", EVENTS)
def test_no_single_event_drives_from_a_state_that_must_not(state, event):
    assert TRANSITIONS[state][event] not in DRIVING


def test_two_actions_start_anything():
    # Two independent actions: EN 15194:2017 4.2.13.1 f, by the parallel text TBIS 15194:2019.
    assert after(PEDALLING, PEDALLING, PEDALLING) == WAITING
    assert after(THROTTLE_ALONE, THROTTLE, THROTTLE_ALONE) == WAITING
    assert after(REST, PEDALLING) == ASSISTING
    assert after(REST, THROTTLE_ALONE) == THROTTLING


def test_a_ride_as_a_story():
    story = [
        (REST, READY),
        (STOPPED, READY),
        (PEDALLING, ASSISTING),
        (NOTHING, ASSISTING),
        (THROTTLE, ASSISTING),
        (SLOW, READY),
        (THROTTLE, THROTTLING),
        (NOTHING, READY),
        (THROTTLE_ALONE, THROTTLING),
        (PEDALLING, ASSISTING),
        (THROTTLE_ALONE, THROTTLING),
        (BRAKE, BRAKED),
        (BRAKE, BRAKED),
        (PEDALLING, READY),
        (PEDALLING, ASSISTING),
        (BACKWARD, READY),
        (PEDALLING, ASSISTING),
        (STOPPED, READY),
        (THROTTLE_ALONE, THROTTLING),
        (REST, READY),
        (PEDALLING, ASSISTING),
        (FAULT, FAULTED),
        (PEDALLING, WAITING),
        (BRAKE, WAITING),
        (PEDALLING, WAITING),
        (REST, READY),
    ]
    taken = Engagement()
    assert (taken.state, taken.event) == (WAITING, NOTHING)
    for event, state in story:
        assert taken.step(event) == state
        assert (taken.state, taken.event) == (state, event)
        assert taken.driving() == (state in DRIVING)
