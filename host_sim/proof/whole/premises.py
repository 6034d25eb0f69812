"""Whether what a statement assumes can be met at all: else it would be shown whatever it claims.

Of one edge the solver finds numbers that meet it. Of a whole step a real controller rides until it is met.
"""

from host_sim.proof.whole.gate import alone_run
from host_sim.proof.whole.rides import COURSES, Premises
from host_sim.proof.whole.solving import REFUTED, Facts
from host_sim.proof.whole.statement import BACK, FORWARD, Statement
from host_sim.proof.whole.terms import negate


def never_met(statements: tuple[Statement, ...], kind: int) -> tuple[int, list[str]]:
    """Return how many premises there are for a kind of sensor, and the sentences that no run can meet."""
    said, unmet = 0, []
    for statement in statements:
        if kind not in statement.kinds or not statement.alone:
            continue
        run = alone_run(kind, statement.alone)
        facts = Facts(run.facts)
        for what, when, _ in statement.says(run):
            said += 1
            if when is not True and facts.prove(negate(when)).verdict != REFUTED:
                unmet.append(f"{statement.name}: {what}")
    for way in (FORWARD, BACK):
        premises = Premises(statements, kind, way, quick=True)
        premises.ride(COURSES[way])
        said += len(premises.said)
        unmet += [*premises.unmet, *premises.broken]
    return said, unmet
