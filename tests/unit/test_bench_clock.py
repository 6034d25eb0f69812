"""Virtual time: the next event first, and of two at the same time the one that was put down first."""

import pytest

from host_sim.bench.clock import NEVER_US, Agenda, Event


def test_the_next_event_is_taken_first_whatever_the_order_they_were_put_down_in():
    agenda = Agenda()
    late, early, middle = Event(), Event(), Event()
    agenda.put(300, late)
    agenda.put(100, early)
    agenda.put(200, middle)
    assert agenda.first_us == 100
    assert [agenda.take() for _ in range(3)] == [early, middle, late]
    assert agenda.now_us == 300


def test_of_events_at_the_same_time_the_first_put_down_happens_first():
    agenda = Agenda()
    events = [Event() for _ in range(50)]
    for event in events:
        agenda.put(7, event)
    assert [agenda.take() for _ in range(50)] == events


def test_an_event_in_the_past_happens_next_and_time_does_not_run_back():
    agenda = Agenda()
    agenda.put(500, Event())
    agenda.take()
    forgotten = Event()
    agenda.put(20, forgotten)
    assert agenda.first_us == 500
    assert agenda.take() is forgotten
    assert agenda.now_us == 500


def test_an_empty_agenda_says_so():
    agenda = Agenda()
    assert agenda.first_us == NEVER_US
    with pytest.raises(IndexError):
        agenda.take()
