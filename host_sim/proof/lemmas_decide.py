"""The lemma about the engagement table: it is total, and safety can be reached from everywhere."""

from firmware.decide.engagement import (
    ASSISTING,
    BACKWARD,
    BRAKE,
    BRAKED,
    EVENT_NAMES,
    FAULT,
    FAULTED,
    READY,
    STATE_NAMES,
    STOPPED,
    THROTTLING,
    TRANSITIONS,
    WAITING,
)
from host_sim.proof.numbers import Numbers


def engagement_table(ex: Numbers) -> None:
    """Every cell of the table: it is total, every state is reachable, and safety is reachable from each."""
    states, kinds = len(STATE_NAMES), len(EVENT_NAMES)
    ex.check(len(TRANSITIONS) == states, "every state has a row")
    reached = [WAITING]
    for state in reached:
        ex.check(len(TRANSITIONS[state]) == kinds, "every event has a cell")
        for following in TRANSITIONS[state]:
            ex.check(0 <= following < states, "every cell is a state")
            if following not in reached:
                reached.append(following)
    ex.check(len(reached) == states, "every state can be reached from power-up")
    for row in TRANSITIONS:
        ex.check(row[FAULT] == FAULTED, "a fault leads to the fault state from everywhere")
        ex.check(row[BRAKE] != ASSISTING and row[BRAKE] != THROTTLING, "the brake ends drive everywhere")
        ex.check(row[STOPPED] != ASSISTING, "a stop ends assistance everywhere")
        ex.check(row[BACKWARD] != ASSISTING and row[BACKWARD] != THROTTLING, "backward ends drive everywhere")
    for event in range(kinds):
        ex.check(
            event == FAULT or TRANSITIONS[FAULTED][event] == WAITING, "a cleared fault leads to waiting only"
        )
        ex.check(TRANSITIONS[BRAKED][event] in (READY, BRAKED, FAULTED), "a released brake leads to ready")
    ex.outcome(states=states)
