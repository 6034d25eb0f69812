"""The gate by itself: one call of `permit` in any state, with any command, readings and time."""

from typing import Any

from host_sim.proof.whole import terms
from host_sim.proof.whole.alone import AloneRun
from host_sim.proof.whole.induction import longest_gap_us
from host_sim.proof.whole.invariants import State, invariant
from host_sim.proof.whole.program import Stamp
from host_sim.proof.whole.ranges import RANGES, STAMP
from host_sim.proof.whole.situation import EDGE_AHEAD_US, Situation
from host_sim.proof.whole.terms import at_most

PERMIT = ("guard", "permit")


class GateRun:
    """One question to the gate. Read: `facts`, `before`, `after`, `command_mv`, `permitted_mv`, `now_us`."""

    def __init__(self, kind: int, fixed: dict[str, int] | None = None) -> None:
        """Ask a gate that has looked at the last step."""
        situation = self.situation = Situation(kind, None, **(fixed or {}))
        self.now_us = terms.integer("now", 0, longest_gap_us(kind))
        newest_us = terms.integer("newest", 0, longest_gap_us(kind) + EDGE_AHEAD_US)
        situation.remember_anything(newest_us)
        whole = situation.interpreter
        for path in ("_last_us", "guard._now_us"):
            whole.store[situation.keys[path]] = Stamp(0)
        self.before = State(situation)
        self.facts = [situation.legal, at_most(newest_us, terms.add(self.now_us, EDGE_AHEAD_US))]
        self.facts += [
            at_most(self.before.of(path), newest_us)
            for path, span in RANGES.items()
            if span == STAMP and path.startswith("guard.")
        ]
        self.facts += [claim for name, claim in invariant(self.before) if name.startswith("guard:")]
        self.command_mv = terms.integer("command", 0, 5_000)
        inputs = situation.any_inputs(self.now_us, 0, 0)
        gate = whole.get(situation.controller, "guard")
        self.permitted_mv = whole.call(gate, "permit", self.command_mv, inputs, Stamp(self.now_us))
        self.after = State(situation)

    def setting(self, name: str) -> Any:
        """Return a setting."""
        return self.situation.setting(name)

    def inputs_of(self, name: str) -> Any:
        """Return a reading; of a stamp its offset from the last step."""
        return self.situation.variables[f"inputs.{name}"]


def alone_run(kind: int, alone: tuple[str, str], fixed: dict[str, int] | None = None) -> Any:
    """Return the run of one component by itself, with settings `fixed` or any."""
    return GateRun(kind, fixed) if alone == PERMIT else AloneRun(kind, *alone, fixed)
