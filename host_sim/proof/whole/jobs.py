"""Everything that is shown of the whole step, in pieces that run one beside the other."""

import time
from typing import Any

from host_sim.proof.whole import terms
from host_sim.proof.whole.contract import Contract
from host_sim.proof.whole.contract_proofs import contract_obligations
from host_sim.proof.whole.contracts import BY_TITLE, KEEPING
from host_sim.proof.whole.counterexample import Counterexample, find, find_in_rides
from host_sim.proof.whole.edges import BEGUN, EdgeRun, begun
from host_sim.proof.whole.exact_all import EXACT_JOBS, exact_job
from host_sim.proof.whole.gate import alone_run
from host_sim.proof.whole.induction import Run, kept, longest_gap_us
from host_sim.proof.whole.invariants import Clause, State, invariant
from host_sim.proof.whole.premises import never_met
from host_sim.proof.whole.program import Refused
from host_sim.proof.whole.situation import Situation
from host_sim.proof.whole.solving import LIMITS, PROVED, REFUTED, UNKNOWN, Facts
from host_sim.proof.whole.statement import ALL_KINDS, BACK, BACK_US
from host_sim.proof.whole.statements import STATEMENTS
from host_sim.proof.whole.term import fresh_terms

SHARES = 3
SHOWN: dict[str, Contract] = {**BY_TITLE, **BEGUN}


class JobResult:
    """`verdict` of one job, how many `claims` it showed, and the first one that was not: `what`, `values`.

    `sequence` and `test`: of a statement numbers that break it on the firmware, readable and as a unit test.
    """

    __slots__ = ("claims", "name", "seconds", "sequence", "test", "values", "verdict", "what")

    def __init__(self, name: str) -> None:
        """Start with everything shown."""
        self.name = name
        self.verdict = PROVED
        self.claims = 0
        self.seconds = 0.0
        self.what = ""
        self.values: dict[str, int] = {}
        self.sequence: list[str] = []
        self.test = ""

    def show(self, facts: list[Any], claims: list[Clause]) -> None:
        """Show all claims from the facts; stop at the first that is refuted.

        What few definitions do not show of a statement is first looked for in numbers that break it.
        """
        known = Facts(facts)
        self.claims += len(claims)
        stated = self.name.split(", kind ")[0] in STATEMENTS
        left = [one for one in claims if not (stated and known.is_near(one[1]))]
        sentences = [what for what, _ in left]
        self.look_for_numbers(sentences, LIMITS[0])
        for what, claim in left:
            if self.verdict == REFUTED:
                return
            answer = known.prove(claim, LIMITS[:2])
            if answer.verdict == UNKNOWN and stated:
                self.look_in_rides([what])
                if self.verdict == REFUTED:
                    return
            if answer.verdict == UNKNOWN:
                answer = known.prove(claim, LIMITS[2:])
            if answer.verdict != PROVED:
                self.verdict, self.what, self.values = answer.verdict, what, answer.values
        if self.verdict == UNKNOWN:
            self.look_for_numbers(sentences, LIMITS[1])

    def meet(self, kind: int) -> None:
        """Show that what the statements about a kind of sensor assume can be met."""
        self.claims, unmet = never_met(tuple(STATEMENTS.values()), kind)
        if unmet:
            self.verdict, self.what = REFUTED, f"what is assumed is never met: {unmet[0]}"

    def look_for_numbers(self, sentences: list[str], limit: int) -> None:
        """Look for numbers that break one of the sentences of a statement on the firmware itself."""
        title, _, kind = self.name.partition(", kind ")
        if sentences and title in STATEMENTS:
            self._take(find(title, int(kind), sentences, limit))

    def look_in_rides(self, sentences: list[str]) -> None:
        """Look for numbers that break one of the sentences of a statement in rides of the firmware."""
        title, _, kind = self.name.partition(", kind ")
        self._take(find_in_rides(title, int(kind), sentences))

    def _take(self, found: Counterexample | None) -> None:
        if found is not None:
            self.verdict, self.what, self.values = REFUTED, found.what, {}
            self.sequence, self.test = found.sequence(), found.unit_test()


def run_job(name: str) -> JobResult:
    """Show one job, from terms of its own: what was asked before changes no answer."""
    with fresh_terms():
        return _run(name)


def _run(name: str) -> JobResult:
    result = JobResult(name)
    started_s = time.perf_counter()
    try:
        if name.startswith("premises"):
            result.meet(int(name.rsplit(" ", 1)[1]))
        for facts, claims in pieces_of(name):
            result.show(facts, claims)
            if result.verdict == REFUTED:
                break
    except Refused as refused:
        result.verdict, result.what = UNKNOWN, f"the firmware can not be read: {refused}"
    result.seconds = time.perf_counter() - started_s
    if result.claims == 0 and not result.what:
        result.verdict, result.what = UNKNOWN, "nothing was claimed"
    return result


def pieces_of(name: str) -> list[tuple[list[Any], list[Clause]]]:
    """Return facts and claims of a job."""
    if name == "kinds complete":
        return [_kinds_complete()]
    if name.startswith("premises"):
        return []  # Not shown by the solver from facts: see premises.py.
    if name == "clock is relative":
        return [_clock_is_relative()]
    if name in EXACT_JOBS:
        return exact_job(name)
    if name.startswith("contract "):
        return contract_obligations(SHOWN[name.removeprefix("contract ")])
    title, kind = name.split(", kind ")
    if title == "constructor":
        return [_constructor(int(kind))]
    if title.startswith("edge keeps "):
        edge = EdgeRun(int(kind), title.removeprefix("edge keeps "))
        return [(edge.facts, edge.obligations)]
    if title == "step back keeps":
        run = Run(int(kind), BACK_US, contracts={**KEEPING, **begun()})
        return [(run.facts, run.obligations)]
    if title == "step keeps":
        number, share = kind.split(", part ")
        run = Run(int(number), (0, longest_gap_us(int(number))), contracts={**KEEPING, **begun()})
        return [(run.facts, run.obligations[int(share) :: SHARES])]
    return [_statement(title, int(kind))]


def _statement(title: str, kind: int) -> tuple[list[Any], list[Clause]]:
    statement = STATEMENTS[title]
    run: Any
    if statement.alone:
        run = alone_run(kind, statement.alone)
    else:
        gaps_us = BACK_US if statement.way == BACK else (0, longest_gap_us(kind))
        run = Run(kind, gaps_us, contracts={**BY_TITLE, **begun()})
    return run.facts, statement.claims(run)


def _constructor(kind: int) -> tuple[list[Any], list[Clause]]:
    """Return that a new controller meets the invariant."""
    situation = Situation(kind, BY_TITLE)
    state = State(situation)
    for path, span in _spans(state).items():
        situation.variables[path] = span
    claims = [
        (f"{one.where}: {one.what}", terms.implies(one.path, one.claim)) for one in situation.base_obligations
    ]
    claims += [one for one in kept(state, False) if "changed by no step" not in one[0]]
    return [situation.legal, *situation.interpreter.facts], claims + invariant(state)


def _spans(state: State) -> dict[str, Any]:
    other = Situation(state.situation.kind)
    other.remember_anything()
    return other.variables


def _kinds_complete() -> tuple[list[Any], list[Clause]]:
    """Return that every legal kind of sensor is one of those that all else is shown for."""
    situation = Situation(None)
    kinds = [terms.equal(situation.setting("sensor_kind"), kind) for kind in ALL_KINDS]
    return [situation.legal], [
        ("every legal kind of sensor is one that is looked at", terms.some(*kinds)),
        _legal_is_possible(situation),
    ]


def _legal_is_possible(situation: Situation) -> Clause:
    """Return that the default settings are legal in the formula: what is assumed can be met."""
    from firmware.settings import TABLE
    from host_sim.proof.whole.numbers_of import compiled

    return "the default settings are legal", bool(
        compiled([situation.legal])({row[0]: row[1] for row in TABLE})[0]
    )


def _clock_is_relative() -> tuple[list[Any], list[Clause]]:
    """Return that `ticks_diff_us` gives the difference of offsets, whatever the clock read."""
    situation = Situation(0)
    whole = situation.interpreter
    last_us = terms.integer("last", 0, (1 << 30) - 1)
    one, other = (
        terms.integer("one", -(1 << 30) + 1, 1 << 30),
        terms.integer("other", -(1 << 30) + 1, 1 << 30),
    )
    times = [terms.modulo(terms.add(last_us, offset), 1 << 30) for offset in (one, other)]
    found = whole.run(whole.function("firmware.ticks", "ticks_diff_us"), times)
    span = terms.subtract(one, other)
    said = terms.subtract(terms.modulo(terms.add(span, 1 << 29), 1 << 30), 1 << 29)
    claims = [(f"{o.where}: {o.what}", terms.implies(o.path, o.claim)) for o in whole.obligations]
    return [], [*claims, ("a difference of times is that of their offsets", terms.equal(found, said))]
