"""The symbolic executor: every operator means what it means on numbers, and planted bugs are found."""

import operator

import pytest
import z3
from hypothesis import given
from hypothesis import strategies as st

from firmware.decide import ceilings as ceilings_module
from firmware.drive.slew_limiter import SlewLimiter
from firmware.guard.faults import Faults
from firmware.guard.output_guard import OutputGuard
from firmware.sense.crank import Crank
from host_sim.proof import lemmas_sense
from host_sim.proof.explorer import Explorer, Unknown
from host_sim.proof.numbers import Failure, Numbers
from host_sim.proof.prover import LemmaResult, unit_test
from tests.paths import decide, drive, faults, guard, sense

numbers = st.integers(-20_000, 20_000)
positive = st.integers(1, 20_000)
levels = st.integers(0, 3)


def outcome_of(function, **values):
    """Run `function` on symbols that can only have the given values, and return what comes out."""
    explorer = Explorer()

    def run(ex):
        symbols = [ex.integer(name, value, value) for name, value in values.items()]
        ex.outcome(result=function(*symbols))

    explorer.explore(run)
    assert explorer.paths == 1
    return explorer.vectors[0].outcome["result"]


@pytest.mark.parametrize(
    "operation", [operator.add, operator.sub, operator.mul, operator.lt, operator.le, operator.eq]
)
@given(one=numbers, other=numbers)
def test_an_operator_on_symbols_is_the_operator_on_numbers(operation, one, other):
    assert outcome_of(operation, one=one, other=other) == operation(one, other)


@given(one=numbers, other=positive)
def test_floor_division_of_symbols_is_that_of_python(one, other):
    assert outcome_of(operator.floordiv, one=one, other=other) == one // other


@pytest.mark.parametrize("operation", [operator.xor, operator.and_, operator.or_])
@given(one=levels, other=levels)
def test_bits_of_levels_are_those_of_python(operation, one, other):
    assert outcome_of(operation, one=one, other=other) == operation(one, other)


@given(one=st.integers(-(2**30), 2**30 - 1))
def test_masks_shifts_and_signs_are_those_of_python(one):
    assert outcome_of(lambda x: x & 0xFFFF, one=one) == one & 0xFFFF
    assert outcome_of(lambda x: x >> 3, one=one) == one >> 3
    if one > -(2**30):
        assert outcome_of(abs, one=one) == abs(one)
        assert outcome_of(operator.neg, one=one) == -one


def test_a_branch_is_gone_down_both_ways_and_an_impossible_one_not_at_all():
    explorer = Explorer()
    seen = set()

    def run(ex):
        number = ex.integer("number", 0, 10)
        way = "low" if number < 5 else "high" if number < 20 else "never"
        seen.add(way)

    explorer.explore(run)
    assert (explorer.paths, seen) == (2, {"low", "high"})


def test_an_index_is_each_of_its_numbers_once():
    explorer = Explorer()
    table = (7, 8, 9)
    explorer.explore(lambda ex: ex.outcome(entry=table[ex.integer("index", 0, 2)]))
    assert sorted(vector.outcome["entry"] for vector in explorer.vectors) == [7, 8, 9]


def test_an_intermediate_value_beyond_31_bits_is_found_with_the_numbers_that_lead_there():
    with pytest.raises(Failure, match="the result of \\* fits 31 bits") as found:
        Explorer().explore(lambda ex: ex.integer("rate", 0, 50_000) * ex.integer("span", 0, 50_000) // 1000)
    assert found.value.values["rate"] * found.value.values["span"] > 2**30 - 1


def test_a_symbol_is_refused_where_the_firmware_could_not_allow_it():
    explorer = Explorer()
    with pytest.raises(TypeError, match="no hash"):
        explorer.explore(lambda ex: {ex.integer("key", 0, 1): 1})
    with pytest.raises(TypeError, match="integers only"):
        explorer.explore(lambda ex: ex.integer("number", 0, 1) + 0.5)


def test_an_index_whose_numbers_the_solver_cannot_list_is_not_proved(monkeypatch):
    """A list that ended where the solver gave up left paths out."""
    monkeypatch.setattr("host_sim.proof.explorer.SOLVER_STEPS", 1)

    def lemma(ex):
        number = ex.integer("number", 0, 20_000)
        ex.assume(number * number < 40)
        return [0, 0, 0, 0, 0, 0, 0][number]

    with pytest.raises(Unknown, match="all numbers that an index can be"):
        Explorer().explore(lemma)


def test_a_path_goes_by_the_numbers_that_were_listed_first(monkeypatch):
    """Listed again, they may be others: a planned way was then beyond the end of the list."""
    real, lists = Explorer._all_values, []

    def once(self, term):
        assert not self._plan
        lists.append(real(self, term))
        return lists[-1]

    monkeypatch.setattr(Explorer, "_all_values", once)
    taken = []

    def lemma(ex):
        number = ex.integer("number", 0, 20_000)
        ex.assume(number * number < 25)
        taken.append(list(range(10))[number])

    Explorer().explore(lemma)
    assert sorted(taken) == [0, 1, 2, 3, 4]
    assert lists == [[0, 1, 2, 3, 4]]


def planted(monkeypatch, owner, name, replacement):
    monkeypatch.setattr(owner, name, replacement)


def refuted(lemma):
    with pytest.raises(Failure) as found:
        Explorer().explore(lemma)
    # The counterexample is one on plain numbers too.
    with pytest.raises(Failure):
        lemma(Numbers(found.value.values))
    return found.value.what


def test_a_wrap_mask_that_is_missing_is_found(monkeypatch):
    planted(monkeypatch, lemmas_sense, "ticks_diff_us", lambda later, earlier: later - earlier)
    assert refuted(lemmas_sense.ticks) == "a difference is not below -2**29"


def test_a_slew_limiter_that_lets_a_stall_buy_a_jump_is_found(monkeypatch):
    def step(self, target_mv, now_us):
        elapsed_us = (now_us - self._last_us) & (2**30 - 1)
        self.command_mv = min(target_mv, self.command_mv + elapsed_us // 100)
        return self.command_mv

    planted(monkeypatch, SlewLimiter, "step", step)
    assert "rise" in refuted(drive.slew_limiter)


def test_a_taper_that_begins_before_it_ends_is_found(monkeypatch):
    # As `fading_permille` was before a proof found it: with a start-up speed of 0 it allowed everything at 0.
    def fading_permille(value, start, end):
        if value <= start:
            return 1000
        if value >= end:
            return 0
        return (end - value) * 1000 // (end - start)

    planted(monkeypatch, ceilings_module, "fading_permille", fading_permille)
    assert refuted(drive.ceilings) == "at the start-up speed the throttle alone is allowed nothing"


def test_a_latch_that_lets_go_is_found(monkeypatch):
    whole = Faults._observe

    def observe(self, cause, holds):
        whole(self, cause, holds)
        if not holds and self.cause == cause:
            self.cause = 0

    planted(monkeypatch, Faults, "_observe", observe)
    assert refuted(faults.fault_latch) == "what is latched stays, whatever comes after it"


def test_a_guard_that_forgets_the_brake_is_found(monkeypatch):
    whole = OutputGuard.permit

    def permit(self, command_mv, inputs, now_us):
        inputs.brake_pulled, pulled = False, inputs.brake_pulled
        permitted_mv = whole(self, command_mv, inputs, now_us)
        inputs.brake_pulled = pulled
        return permitted_mv

    planted(monkeypatch, OutputGuard, "permit", permit)
    assert refuted(guard.guard_permit) == "with the brake pulled nothing is permitted"


def test_rocking_that_counts_as_progress_is_found(monkeypatch):
    def gain_ground(self, edges, time_us):
        self.backward_run = 0
        self.forward_run = min(self.forward_run + edges, 1000)
        self.last_forward_us = time_us
        self.ground_gained = True

    planted(monkeypatch, Crank, "_gain_ground", gain_ground)
    assert refuted(sense.crank_two_channels) == "ground is gained only when no edge is to be made up"


def test_an_event_order_that_puts_pedalling_before_the_brake_is_found(monkeypatch):
    from firmware.decide.events import Events

    whole = Events.choose

    def choose(self, fault, brake):
        return 3 if fault == 0 and self._pedalling.engages else whole(self, fault, brake)

    planted(monkeypatch, Events, "choose", choose)
    assert refuted(decide.events) == "then the brake"


def test_a_counterexample_comes_as_a_unit_test_that_runs():
    result = LemmaResult("ticks")
    result.what = "nothing, in truth"
    result.values = {"later": 5, "earlier": 7}
    text = unit_test(result)
    space: dict[str, object] = {}
    exec(text, space)
    space["test_ticks_holds_for_the_counterexample"]()
    assert "# Fails with: nothing, in truth" in text


def test_the_solver_that_is_used_is_a_real_one():
    solver = z3.Solver()
    number = z3.Int("number")
    solver.add(number * number == 2)
    assert solver.check() == z3.unsat
