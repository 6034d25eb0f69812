"""What the proof does not show is a failure: gaps, "unknown", assumptions that nothing can meet.

Each is planted into the proof. That every statement refutes a mistake is tested in test_planted.py.
"""

import pytest

from host_sim.cli.prove import ProveResult
from host_sim.proof.properties import PROPERTIES
from host_sim.proof.prover import PropertyResult
from host_sim.proof.whole import exact_all, induction, jobs, ranges, terms
from host_sim.proof.whole.contract import Contract, nothing
from host_sim.proof.whole.exact import exact, gives
from host_sim.proof.whole.jobs import JobResult, run_job
from host_sim.proof.whole.solving import PROVED, REFUTED, UNKNOWN, Answer, Facts
from host_sim.proof.whole.term import integer

STOP = next(stated for stated in PROPERTIES if stated.name == "stop")


def judged(*results: JobResult) -> PropertyResult:
    """Judge a property by the results of its jobs."""
    return PropertyResult(STOP, [], results)


def result_of(verdict: str) -> JobResult:
    result = JobResult("step stop, kind 0")
    result.verdict = verdict
    return result


@pytest.mark.parametrize("verdict", [UNKNOWN, REFUTED])
def test_one_job_that_is_not_proved_is_a_failure_of_its_property_and_of_the_command(verdict: str):
    property_result = judged(result_of(PROVED), result_of(verdict), result_of(PROVED))
    assert property_result.verdict == verdict
    assert not ProveResult([judged(result_of(PROVED)), property_result], {}).holds


def test_a_solver_that_gives_up_shows_nothing(monkeypatch):
    monkeypatch.setattr(Facts, "prove", lambda *_: Answer(UNKNOWN, 0, {}))
    result = run_job("kinds complete")
    assert (result.verdict, result.claims) == (UNKNOWN, 2)
    assert judged(result).verdict == UNKNOWN


def test_a_claim_too_hard_for_the_solver_is_unknown():
    x, y, z = (terms.integer(name, 1, 1 << 20) for name in "xyz")

    def cube(number):
        return terms.multiply(number, terms.multiply(number, number))

    no_cube = terms.unequal(terms.add(cube(x), cube(y)), cube(z))
    assert Facts([]).prove(no_cube, limits=(1_000_000,)).verdict == UNKNOWN


def test_a_job_without_a_claim_shows_nothing(monkeypatch):
    monkeypatch.setattr(jobs, "pieces_of", lambda _: [([], [])])
    result = run_job("kinds complete")
    assert (result.verdict, result.what) == (UNKNOWN, "nothing was claimed")


def test_an_exact_contract_whose_needs_nothing_can_meet_is_a_failure(monkeypatch):
    planted = exact(
        "clamp",
        "integers",
        {"value": (0, 9), "lowest": (0, 9), "highest": (0, 9)},
        (),
        lambda call: gives(call, 9),
        lambda call: [
            ("a value below the lowest", terms.less(call.of("value"), call.of("lowest"))),
            ("and above it", terms.less(call.of("lowest"), call.of("value"))),
        ],
    )
    monkeypatch.setitem(exact_all.EXACT, "clamp", planted)
    result = run_job("exact clamp")
    assert (result.verdict, result.what) == (REFUTED, "clamp: what it needs can be met")


def test_what_a_contract_needs_and_no_caller_shows_is_a_gap_that_is_found(monkeypatch):
    settle = Contract(
        "Wheel.settle",
        "firmware.sense.rotation",
        {"now_us": ranges.STAMP},
        {"speed_mm_per_s": ranges.SPEED},
        None,
        lambda call: [("a wheel that turns", terms.less(0, call.store[call.key_of("speed_mm_per_s")]))],
        nothing,
    )
    run = induction.Run(0, (0, 5_000), contracts={**jobs.BY_TITLE, **jobs.begun(), "Wheel.settle": settle})
    needed = [claim for what, claim in run.obligations if what == "Wheel.settle: needs: a wheel that turns"]
    assert [Facts(run.facts).prove(claim).verdict for claim in needed] == [REFUTED]


def test_a_field_that_a_step_changes_and_no_list_names_is_a_gap_that_is_found(monkeypatch):
    for module in (ranges, induction, jobs.Situation.remember_anything.__globals__):
        names = module if isinstance(module, dict) else vars(module)
        monkeypatch.setitem(names, "RANGES", {k: v for k, v in ranges.RANGES.items() if k != "wheel.pulsed"})
    result = run_job("edge keeps wheel, kind 0")
    assert (result.verdict, result.what) == (REFUTED, "wheel.pulsed is changed by no step")


def test_a_job_makes_its_terms_from_the_first_number_on_whatever_was_made_before(monkeypatch):
    """With other numbers in the names of its variables the solver once gave up on a contract of 0.3 s."""
    before = integer("made before", 0, 5)
    numbers = []

    def piece(_):
        numbers.append(integer("made in the job", 0, 5).number)
        return [([], [])]

    monkeypatch.setattr(jobs, "pieces_of", piece)
    run_job("kinds complete")
    run_job("kinds complete")
    assert numbers == [0, 0]
    assert integer("made before", 0, 5) is before
