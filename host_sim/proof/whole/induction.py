"""The step of the induction: any state that the invariant allows, any settings, readings and call time."""

from typing import Any

from host_sim.proof.whole import terms
from host_sim.proof.whole.invariants import Clause, State, invariant
from host_sim.proof.whole.program import Stamp
from host_sim.proof.whole.ranges import RANGES, STAMP, TRUTH
from host_sim.proof.whole.situation import EDGE_AHEAD_US, Situation
from host_sim.proof.whole.terms import at_least, at_most, every, implies

LONGEST_GAP_US = 532_620_911
DUTY_GAP_US = 60_000_000
"""After longer gaps between steps a pitch of a duty-coded ring, half seen before, no longer fits 31 bits."""


def longest_gap_us(kind: int) -> int:
    """Return the longest gap between two steps that is looked at for a kind of sensor."""
    return DUTY_GAP_US if kind == 2 else LONGEST_GAP_US


class Run:
    """One run of `Controller.step`. Read: `facts`, `obligations`, `before`, `after`."""

    def __init__(
        self,
        kind: int,
        gaps_us: tuple[int, int],
        crank_edges: int = 0,
        wheel_edges: int = 0,
        contracts: Any = None,
        fixed: dict[str, int] | None = None,
    ) -> None:
        """Step from any state, `gaps_us` (least and most) after the last; settings are `fixed` or any."""
        situation = self.situation = Situation(kind, contracts, **(fixed or {}))
        whole = situation.interpreter
        back = gaps_us[0] < 0
        self.now_us = terms.integer("now", *gaps_us)
        newest_us = EDGE_AHEAD_US if back else terms.integer("newest", 0, gaps_us[1] + EDGE_AHEAD_US)
        situation.remember_anything(newest_us)
        self.facts: list[Any] = [situation.legal]
        for path in ("_last_us", "slew_limiter._last_us", "guard._now_us"):
            # The origin: the invariant says of the others that they are the time of the last step.
            whole.store[situation.keys[path]] = Stamp(0)
        if not back:
            self.facts.append(at_most(newest_us, terms.add(self.now_us, EDGE_AHEAD_US)))
        self.before = State(situation)
        for path, span in RANGES.items():
            if span == STAMP and path != "_last_us" and not back:
                self.facts.append(at_most(self.before.of(path), newest_us))
        self.facts.extend(claim for _, claim in invariant(self.before))
        self.inputs = situation.any_inputs(self.now_us, crank_edges, wheel_edges)
        self._order_edges(crank_edges, wheel_edges, newest_us)
        whole.call(situation.controller, "step", self.inputs, Stamp(self.now_us))
        self.facts.extend(whole.facts)
        self.after = State(situation, self.now_us, wraps=back)
        self.obligations: list[Clause] = [
            (f"{one.where}: {one.what}", implies(one.path, one.claim)) for one in whole.obligations
        ]
        self.obligations += kept(self.after, back)
        self.obligations += invariant(self.after)

    def setting(self, name: str) -> Any:
        """Return a setting."""
        return self.situation.setting(name)

    def inputs_of(self, name: str) -> Any:
        """Return a reading."""
        return self.situation.variables[f"inputs.{name}"]

    @property
    def sampled_us(self) -> Any:
        """When the readings were taken, as an offset."""
        return self.situation.variables["inputs.sampled_us"]

    def _order_edges(self, crank_edges: int, wheel_edges: int, newest_us: Any) -> None:
        newest_edge_us = terms.add(self.now_us, EDGE_AHEAD_US)
        for side, count in (("crank", crank_edges), ("wheel", wheel_edges)):
            last_us = newest_us
            for place in range(count):
                time_us = self.situation.variables[f"{side}_edge{place}.time"]
                self.facts += [at_least(time_us, last_us), at_most(time_us, newest_edge_us)]
                last_us = time_us


def kept(after: State, back: bool) -> list[Clause]:
    """Return that every field is in its range, and that nothing outside the list changed."""
    return kept_ranges(after, None if back else EDGE_AHEAD_US) + nothing_else(after)


def kept_ranges(after: State, newest_us: Any) -> list[Clause]:
    """Return that every field is in its range and no stamp later than `newest_us` (None: not said)."""
    claims: list[Clause] = []
    for path, span in RANGES.items():
        value = after.of(path)
        if span == TRUTH:
            if not terms.is_truth(value):
                claims.append((f"{path} is a truth", False))
        elif span == STAMP:
            if newest_us is not None:
                claims.append((f"{path} does not lie ahead", at_most(value, newest_us)))
        else:
            low, high = _span(after.situation.variables[path], span)
            claims.append((f"{path} stays in its range", every(at_least(value, low), at_most(value, high))))
    return [(what, claim) for what, claim in claims if claim is not True]


def _span(variable: Any, span: Any) -> tuple[int, int]:
    """Return the range that a field was taken to have before."""
    low = variable.low if hasattr(variable, "low") else span[0]
    return low, variable.high if isinstance(variable, terms.Term) else span[1]


def nothing_else(after: State) -> list[Clause]:
    """Return that nothing outside the list changed, in any object."""
    claims: list[Clause] = []
    situation = after.situation
    for key, path in situation.names.items():
        if path not in RANGES and after.store[key] is not situation.built[key]:
            plain = terms.plain(after.store[key])
            if plain is not terms.plain(situation.built[key]):
                claims.append((f"{path} is changed by no step", False))
    return claims
