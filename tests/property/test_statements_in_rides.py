"""What the statements assume is met on rides, each premise at least once, and what they claim holds there.

A premise that nothing meets would be shown by the solver whatever it claims: one that is planted is found.
"""

import pytest

from host_sim.proof.whole import jobs, terms
from host_sim.proof.whole.premises import never_met
from host_sim.proof.whole.rides import COURSES, Premises
from host_sim.proof.whole.solving import PROVED, REFUTED
from host_sim.proof.whole.statement import BACK, FORWARD, Statement
from host_sim.proof.whole.statements import STATEMENTS

pytestmark = pytest.mark.long


@pytest.mark.parametrize("kind", [0, 1, 2])
@pytest.mark.parametrize(("way", "steps"), [(FORWARD, 4_000), (BACK, 1)])
def test_each_premise_of_a_step_is_met_on_a_ride_and_its_claim_holds_there(kind: int, way: str, steps: int):
    premises = Premises(tuple(STATEMENTS.values()), kind, way)
    premises.ride(COURSES[way])
    assert premises.unmet == []
    assert premises.broken == set()
    assert premises.looked >= steps


def test_a_premise_of_a_step_that_nothing_meets_is_a_failure(monkeypatch):
    planted = Statement(
        "planted",
        "a stalled step that comes in time has no output",
        lambda run: [
            ("so says nobody", terms.both(terms.less(run.now_us, 10), terms.less(20, run.now_us)), False)
        ],
    )
    monkeypatch.setattr(jobs, "STATEMENTS", {"planted": planted})
    monkeypatch.setitem(COURSES, FORWARD, COURSES[FORWARD][2:3])
    assert jobs.run_job("planted, kind 0").verdict == PROVED  # Whatever it claims.
    result = jobs.run_job("premises, kind 0")
    assert (result.verdict, result.what) == (REFUTED, "what is assumed is never met: planted: so says nobody")


def test_a_premise_of_an_edge_that_the_invariant_rules_out_is_a_failure():
    planted = Statement(
        "planted",
        "a standing crank that has a run",
        lambda run: [
            (
                "gains no ground",
                terms.both(
                    run.before.of("crank.standing"), terms.less(0, run.before.of("crank.forward_run"))
                ),
                False,
            )
        ],
        kinds=(0,),
        alone=("crank", "_accept"),
    )
    assert never_met((planted,), 0) == (1, ["planted: gains no ground"])


def test_a_claim_that_a_ride_breaks_is_told_beside_the_premises_that_are_not_met():
    planted = Statement(
        "planted",
        "nothing drives",
        lambda run: [("nothing drives", True, terms.negate(run.after.of("outputs.drive_enabled")))],
    )
    premises = Premises((planted,), 0, FORWARD)
    premises.ride(COURSES[FORWARD][:1])
    assert premises.broken == {"planted: nothing drives"}
