"""Runs one ride and measures it for the rules of its kind, in this process or in a worker."""

from collections.abc import Sequence

from host_sim.bikes.model import Bike
from host_sim.rules.case import Build, Scenario
from host_sim.rules.catalogue import rule_named
from host_sim.rules.probe import watched_by
from host_sim.rules.rule import Rule
from host_sim.rules.verdict import Finding

Job = tuple[str, int, tuple[str, ...]]
"""A ride as it is sent to a worker: the name of its kind, its number, the names of the rules that measure."""


def ride_once(
    bike: Bike, scenario: Scenario, seed: int, rules: Sequence[Rule], build: Build | None = None
) -> list[Finding] | None:
    """Ride number `seed` of `scenario` once, measured by `rules`; None if this bike can't ride it.

    `build` makes the controller, None the firmware's own.
    """
    case = scenario.case(bike, seed)
    if case is None:
        return None
    case.build = build
    bench = case.bench()
    probes = [(rule, watched_by(bench, rule.probe(case))) for rule in rules]
    bench.ride(case.script(), case.course.seconds)
    findings = []
    for rule, probe in probes:
        probe.end()
        if probe.measured is not None:
            findings.append(Finding(rule.name, scenario.name, seed, probe.measured))
    return findings


def measure(bike: Bike, scenario: Scenario, seed: int, rules: Sequence[Rule]) -> list[Finding]:
    """Return what `rules` measured on ride number `seed` of `scenario`."""
    return ride_once(bike, scenario, seed, rules) or []


def ride_job(bike: Bike, job: Job, build: Build | None = None) -> list[Finding] | None:
    """Ride a job in a worker process; rules hold functions, which can't be pickled, so it has only names."""
    kind, seed, names = job
    rules = [rule_named(name) for name in names]
    scenario = next(one for rule in rules for one in rule.scenarios if one.name == kind)
    return ride_once(bike, scenario, seed, rules, build)
