"""One more pending edge keeps the invariant, so that many do.

A step first clears what it will say of its edges (`begin_step`), then takes one edge after the other. What
every edge keeps is the invariant with the last step's time as origin, and `of_edges`. The induction's step is
then taken with no edge pending from any such state, with whatever edges may have said in it: `begun` takes
the place of `begin_step` there. Crank and wheel edges touch no field of one another; so their order does not
matter, nor that the crank settles in between.
"""

from collections.abc import Callable, Iterator
from typing import Any

from host_sim.proof.whole import terms
from host_sim.proof.whole.contract import Call, Claims, Contract, nothing
from host_sim.proof.whole.induction import kept_ranges, longest_gap_us, nothing_else
from host_sim.proof.whole.interpreter import Interpreter
from host_sim.proof.whole.invariants import Clause, State, invariant
from host_sim.proof.whole.program import Function, Stamp
from host_sim.proof.whole.ranges import RANGES, STAMP, TRUTH
from host_sim.proof.whole.situation import EDGE_AHEAD_US, Situation
from host_sim.proof.whole.terms import at_least, at_most, implies, subtract

SIDES = ("crank", "wheel")


def _recent(of: Callable[[str], Any], glitch_us: Any) -> Claims:
    oldest_us = subtract(0, glitch_us)
    return [
        (
            "ground was gained since the last step",
            implies(of("ground_gained"), at_least(of("last_forward_us"), oldest_us)),
        ),
        ("and a pitch measured", implies(of("pitch_measured"), at_least(of("pitch_edge_us"), oldest_us))),
    ]


def of_edges(now: State) -> Iterator[Clause]:
    """What the edges of one step have said: none is older than the glitch time before the last step."""
    yield from _recent(lambda name: now.of(f"crank.{name}"), now.of("crank._glitch_us"))


def _begun_gives(call: Call) -> Claims:
    return _recent(call.after, call.of("_glitch_us"))


BEGUN = {
    "Crank.begin_step": Contract(
        "Crank.begin_step",
        "firmware.sense.crank",
        {},
        {"ground_gained": TRUTH, "pitch_measured": TRUTH},
        None,
        nothing,
        _begun_gives,
    ),
    "Wheel.begin_step": Contract(
        "Wheel.begin_step",
        "firmware.sense.rotation",
        {},
        {"pulsed": TRUTH},
        None,
        nothing,
        lambda call: [("the speed stays", call.is_kept("speed_mm_per_s"))],
    ),
}


def begun() -> dict[str, Any]:
    """Return what stands for the first `begin_step` of a step and any number of edges after it."""
    return {one.title: _first(one) for one in BEGUN.values()}


def _first(contract: Contract) -> Any:
    """Let a contract stand for the first call; a later one clears what the edges have said."""
    calls: list[Function] = []

    def call(whole: Interpreter, function: Function, arguments: list[Any]) -> Any:
        calls.append(function)
        if len(calls) > 1:
            return whole.run_body(function, arguments)
        return contract(whole, function, arguments)

    return call


class EdgeRun:
    """One edge shown to the sensing part and to the gate. Read: `facts`, `obligations`."""

    def __init__(self, kind: int, side: str) -> None:
        """Give the edge to the components of a controller in any state that edges keep."""
        situation = Situation(kind)
        whole = situation.interpreter
        latest_us = longest_gap_us(kind) + EDGE_AHEAD_US
        newest_us, time_us = terms.integer("newest", 0, latest_us), terms.integer("time", 0, latest_us)
        situation.remember_anything(newest_us)
        before = State(situation)
        self.facts: list[Any] = [situation.legal, at_least(time_us, newest_us)]
        self.facts += [at_most(before.of(path), newest_us) for path, span in RANGES.items() if span == STAMP]
        self.facts += [claim for _, claim in (*invariant(before), *of_edges(before))]
        width = 2 if side == "crank" else 1
        levels = terms.bits(tuple(terms.truth(f"levels.{bit}") for bit in range(width)))
        whole.call(whole.get(situation.controller, side), "edge", levels, Stamp(time_us))
        whole.call(whole.get(situation.controller, "guard"), f"{side}_edge", levels, Stamp(time_us))
        after = State(situation)
        self.obligations: list[Clause] = [
            (f"{one.where}: {one.what}", implies(one.path, one.claim)) for one in whole.obligations
        ]
        self.obligations += kept_ranges(after, time_us) + nothing_else(after)
        self.obligations += self._of_others(before, after, side)
        self.obligations += [*invariant(after), *of_edges(after)]

    @staticmethod
    def _of_others(before: State, after: State, side: str) -> list[Clause]:
        """Return that an edge changes its own sensing part and the gate only."""
        changed = (
            path
            for path in RANGES
            if not path.startswith((f"{side}.", "guard."))
            and terms.plain(after.of(path)) is not terms.plain(before.of(path))
        )
        return [(f"an edge of the {side} does not change {path}", False) for path in changed]
