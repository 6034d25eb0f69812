"""One component by itself: one edge given to the crank or to the gate, in any state, at any time."""

from typing import Any

from host_sim.proof.whole import terms
from host_sim.proof.whole.induction import longest_gap_us
from host_sim.proof.whole.invariants import State, invariant
from host_sim.proof.whole.program import Stamp
from host_sim.proof.whole.situation import EDGE_AHEAD_US, Situation
from host_sim.proof.whole.terms import at_least, at_most, implies


class AloneRun:
    """One call with levels and a time. Read: `facts`, `before`, `after`, `levels`, `time_us`."""

    def __init__(self, kind: int, component: str, method: str, fixed: dict[str, int] | None = None) -> None:
        """Call the method on the component of a controller in any state that its invariant allows."""
        situation = self.situation = Situation(kind, None, **(fixed or {}))
        latest_us = longest_gap_us(kind) + EDGE_AHEAD_US
        newest_us = terms.integer("newest", 0, latest_us)
        self.time_us = terms.integer("time", 0, latest_us)
        situation.remember_anything(newest_us)
        self.before = State(situation)
        one_wire = method in ("wheel_edge", "edge") or (method == "_accept" and kind != 0)
        self._bits = tuple(terms.truth(f"levels.{bit}") for bit in range(1 if one_wire else 2))
        self.levels = terms.bits(self._bits)
        self.facts = [situation.legal, at_least(self.time_us, newest_us)]
        self.facts += [claim for name, claim in invariant(self.before) if name.startswith(f"{component}:")]
        whole = situation.interpreter
        if method == "_accept":
            # An accepted edge has changed the levels, unless they were not known.
            changed = terms.unequal(self.levels, self.before.of("crank.levels"))
            self.facts.append(terms.either(changed, terms.negate(self.before.of("crank._started"))))
        for path in (
            "crank._fall_us",
            "crank._rise_us",
            "crank._last_edge_us",
            "guard._fall_us",
            "guard._rise_us",
            "guard._wheel_us",
        ):
            self.facts.append(at_most(self.before.of(path), newest_us))
        whole.call(whole.get(situation.controller, component), method, self.levels, Stamp(self.time_us))
        self.after = State(situation)
        self.obligations = [
            (f"{one.where}: {one.what}", implies(one.path, one.claim)) for one in whole.obligations
        ]

    def setting(self, name: str) -> Any:
        """Return a setting."""
        return self.situation.setting(name)

    def bit(self, place: int) -> Any:
        """Return one of the levels."""
        return self._bits[place]

    def moved(self, path: str, levels: Any) -> Any:
        """Return by how many of the four positions of the ring the levels moved from a field's."""
        return terms.modulo(terms.subtract(_position(levels), _position(self.before.of(path))), 4)


def _position(levels: Any) -> Any:
    """Return the place of two levels in the order in which a ring turns: none, A, both, B."""
    low, high = terms.bits_of(levels) or (False, False)
    return terms.bits((terms.differ(low, high), high))
