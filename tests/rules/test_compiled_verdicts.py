"""Compiled and interpreted rides are measured the same, to the last digit, by every probe of every rule."""

from collections.abc import Iterator
from functools import partial

import pytest

from host_sim.bikes.load import load_bike
from host_sim.compiled.build import missing_tools
from host_sim.compiled.workers import Workers
from host_sim.rules.catalogue import RULES
from host_sim.rules.measure import Job, ride_job
from tests.rules.probing import counted, where_the_probes_come_from

pytestmark = pytest.mark.long


@pytest.fixture(scope="module")
def workers() -> Iterator[Workers]:
    if missing_tools():
        pytest.skip(missing_tools())
    with Workers(2) as workers:
        assert workers.notice == ""
        yield workers


def jobs(name: str, number: int) -> list[Job]:
    """Return ride `number` of every kind, measured by all rules that look at it."""
    bike = load_bike(name)
    kinds: dict[str, list[str]] = {}
    for rule in RULES:
        if rule.limit(bike) is not None:
            for scenario in rule.scenarios:
                kinds.setdefault(scenario.name, []).append(rule.name)
    return [(kind, number, tuple(rules)) for kind, rules in kinds.items()]


def test_the_probes_of_a_worker_are_machine_code_and_those_here_are_not(workers: Workers) -> None:
    assert list(workers.map(where_the_probes_come_from, [None])) == [(True,) * 5]
    assert where_the_probes_come_from(None) == (False,) * 5


def test_a_probe_of_somebody_else_works_on_the_compiled_bench_too(workers: Workers) -> None:
    compiled = list(workers.map(counted, [1, 2]))
    assert compiled == [counted(1), counted(2)]
    assert all(looks > 3_000 and edges > 20 for looks, edges, _ in compiled)


@pytest.mark.parametrize(("name", "number", "kinds_least"), [("tandem", 3, 31), ("folding", 4, 24)])
def test_every_rule_measures_the_same_on_a_ride_of_each_kind(
    workers: Workers, name: str, number: int, kinds_least: int
) -> None:
    asked = jobs(name, number)
    ride = partial(ride_job, load_bike(name))
    measured = 0
    ridden = 0
    for job, compiled, interpreted in zip(asked, workers.map(ride, asked), map(ride, asked), strict=True):
        assert (compiled is None) == (interpreted is None), job
        for one, other in zip(compiled or [], interpreted or [], strict=True):
            assert (one.rule, one.scenario, one.seed) == (other.rule, other.scenario, other.seed)
            assert one.measured == other.measured, (one.rule, one.scenario)
            measured += 1
        ridden += compiled is not None
    assert ridden >= kinds_least
    assert measured >= 4 * ridden
