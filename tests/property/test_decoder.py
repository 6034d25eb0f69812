"""The two-channel decoder equals the published transition table, for both leads.

The table, indexed 4 * before + after with state = 2 * A + B, is the one printed in an open quadrature
decoder (rydub/gametech_console, quadencoder.cpp): +1 is A leading. Other sources print the opposite
sign: direction is a convention, so both leads are tested.
"""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from firmware.sense.crank import Crank
from host_sim.rig.rig import BEFORE_WRAP_US, WRAP_US
from host_sim.rig.small_int import SmallInt
from host_sim.rig.small_settings import settings_with

TABLE = (0, -1, 1, 0, 1, 0, 0, -1, -1, 0, 0, 1, 0, 1, -1, 0)
DOUBLE_CHANGES = {(0, 3), (3, 0), (1, 2), (2, 1)}
PAIRS = [(before, after) for before in range(4) for after in range(4)]
GRAY_CYCLE = (0, 2, 3, 1)  # 2 * A + B with A leading: A, both, B alone, none.


def levels_of(state: int) -> int:
    """Turn 2 * A + B into the firmware's levels, bit 0 channel A and bit 1 channel B."""
    return (state >> 1) | (state & 1) << 1


class Decoder:
    """Counts what the crank makes of a course of states: steps forward less steps back, and refusals."""

    def __init__(self, lead: int, first: int):
        self.crank = Crank(settings_with(lead=lead), SmallInt(BEFORE_WRAP_US))
        self.now_us = BEFORE_WRAP_US
        self.state = first
        self.count = 0
        self.show(first)

    def show(self, state: int) -> tuple[int, int]:
        """Show a state for 20 ms; return the step counted (-1, 0, 1) and the number refused."""
        crank = self.crank
        rejected = crank.rejected
        runs = (crank.forward_run, crank.backward_run)
        crank.begin_step()
        crank.edge(SmallInt(levels_of(state)), SmallInt(self.now_us))
        self.now_us = (self.now_us + 20_000) % WRAP_US
        crank.settle(SmallInt(self.now_us))
        self.state = state
        step = 0
        if crank.rejected == rejected and (crank.forward_run, crank.backward_run) != runs:
            step = 1 if crank.forward_run > 0 else -1
        self.count += step
        return step, crank.rejected - rejected


@pytest.mark.parametrize("lead", [0, 1])
@pytest.mark.parametrize(("before", "after"), PAIRS)
def test_every_transition_is_that_of_the_table(before, after, lead):
    step, rejected = Decoder(lead, before).show(after)
    assert step == (TABLE[4 * before + after] if lead == 0 else -TABLE[4 * before + after])
    assert rejected == (1 if (before, after) in DOUBLE_CHANGES else 0)


@pytest.mark.parametrize("lead", [0, 1])
def test_the_decoder_is_antisymmetric_with_four_double_changes(lead):
    refused = set()
    for before, after in PAIRS:
        there, rejected = Decoder(lead, before).show(after)
        back, _ = Decoder(lead, after).show(before)
        assert there == -back
        if rejected:
            refused.add((before, after))
    assert refused == DOUBLE_CHANGES


@pytest.mark.parametrize(("lead", "total"), [(0, 4), (1, -4)])
def test_one_gray_cycle_is_four_steps(lead, total):
    decoder = Decoder(lead, 0)
    for state in (2, 3, 1, 0):
        decoder.show(state)
    assert decoder.count == total


@pytest.mark.parametrize("lead", [0, 1])
@pytest.mark.parametrize(("before", "after"), [pair for pair in PAIRS if TABLE[4 * pair[0] + pair[1]]])
def test_there_and_back_again_is_no_way(before, after, lead):
    decoder = Decoder(lead, before)
    decoder.show(after)
    decoder.show(before)
    assert decoder.count == 0


@given(
    lead=st.integers(0, 1), first=st.integers(0, 3), steps=st.lists(st.sampled_from([-1, 1]), max_size=150)
)
def test_the_count_of_a_random_walk_is_the_position(lead, first, steps):
    decoder = Decoder(lead, GRAY_CYCLE[first])
    position = 0
    for step in steps:
        position += step
        decoder.show(GRAY_CYCLE[(first + position) % 4])
        assert decoder.count == (position if lead == 0 else -position)
    assert decoder.crank.rejected == 0
