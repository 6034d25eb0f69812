"""Rides the rides and holds the rules against them.

Each ride is ridden once and measured by all rules that look at its kind. Work is shared out over
processes; what comes back is the worst case of every rule, with the ride that shows it.
"""

import signal
from collections.abc import Callable, Sequence
from multiprocessing import get_context
from os import cpu_count

from host_sim.bikes.model import Bike
from host_sim.rules.case import Scenario
from host_sim.rules.rule import Rule


class Finding:
    """What one rule measured on one ride: `measured`, on ride `seed` of `scenario`."""

    __slots__ = ("measured", "rule", "scenario", "seed")

    def __init__(self, rule: str, scenario: str, seed: int, measured: float) -> None:
        """Note a measurement."""
        self.rule = rule
        self.scenario = scenario
        self.seed = seed
        self.measured = measured


class Verdict:
    """The worst of all findings of one rule.

    `applies` is False where the rule has no object on this bike; `measured` is None where no ride came to
    the point, which counts as not held: a rule that nothing exercised has shown nothing.
    """

    def __init__(self, rule: Rule, bike: Bike, findings: Sequence[Finding], rides: int) -> None:
        """Judge the findings of `rides` rides."""
        self.rule = rule
        self.limit = rule.limit(bike)
        self.applies = self.limit is not None
        # Whichever process was first: of equals the lowest number, then the first name.
        worst = min(findings, key=lambda found: (-found.measured, found.seed, found.scenario), default=None)
        self.measured = None if worst is None else worst.measured
        self.seed = None if worst is None else worst.seed
        self.scenario = None if worst is None else worst.scenario
        self.rides = rides
        self.holds = not self.applies
        self.cure = ""
        if self.limit is not None and worst is not None:
            self.holds = rule.holds(bike, worst.measured, self.limit)
            self.cure = "" if self.holds else rule.cure(bike, worst.measured, self.limit)
        elif self.applies:
            self.cure = "no ride came to the point: nothing was shown"

    @property
    def margin(self) -> float | None:
        """How much is left up to the limit; negative where the rule fails, None if nothing was measured."""
        return None if self.limit is None or self.measured is None else self.limit - self.measured


def measure(bike: Bike, scenario: Scenario, seed: int, rules: Sequence[Rule]) -> list[Finding]:
    """Ride number `seed` of `scenario` once, measured by `rules`."""
    case = scenario.case(bike, seed)
    if case is None:
        return []
    bench = case.bench()
    probes = [(rule, rule.probe(case)) for rule in rules]
    for _, probe in probes:
        bench.watch(probe)
        bench.watch_edges(probe)
    bench.ride(case.script(), case.course.seconds)
    findings = []
    for rule, probe in probes:
        probe.end()
        if probe.measured is not None:
            findings.append(Finding(rule.name, scenario.name, seed, probe.measured))
    return findings


Job = tuple[Scenario, int, list[Rule]]
Done = Callable[[int, int], None]


def judge(
    bike: Bike, rules: Sequence[Rule], seed: int, rides: int, done: Done, workers: int | None = None
) -> list[Verdict]:
    """Return a verdict for each rule from `rides` rides of each kind, numbered from `seed` on.

    `done(finished, all)` is called as the work goes on. `workers` is the number of processes.
    """
    applying = [rule for rule in rules if rule.limit(bike) is not None]
    kinds: dict[str, tuple[Scenario, list[Rule]]] = {}
    for rule in applying:
        for scenario in rule.scenarios:
            kinds.setdefault(scenario.name, (scenario, []))[1].append(rule)
    jobs: list[tuple[str, int]] = [(name, seed + ride) for ride in range(rides) for name in kinds]
    findings: list[Finding] = []
    workers = workers or min(cpu_count() or 1, 8)
    if workers == 1 or len(jobs) < 4:
        for finished, (name, number) in enumerate(jobs, start=1):
            findings += measure(bike, kinds[name][0], number, kinds[name][1])
            done(finished, len(jobs))
    else:
        findings = _in_processes(bike, [rule.name for rule in applying], jobs, done, workers)
    by_rule: dict[str, list[Finding]] = {rule.name: [] for rule in rules}
    for finding in findings:
        by_rule[finding.rule].append(finding)
    return [Verdict(rule, bike, by_rule[rule.name], rides) for rule in rules]


def _in_processes(
    bike: Bike, names: list[str], jobs: list[tuple[str, int]], done: Done, workers: int
) -> list[Finding]:
    findings: list[Finding] = []
    finished = 0
    # Rules hold functions, so only their names travel.
    size = max(1, min(20, len(jobs) // (workers * 4)))
    some_jobs = [jobs[at : at + size] for at in range(0, len(jobs), size)]
    # Leaving the block ends the workers at once, whatever they are at.
    with get_context("fork").Pool(workers, _begin, (bike, names)) as pool:
        for some, count in pool.imap_unordered(_measure_some, some_jobs):
            findings += some
            finished += count
            done(finished, len(jobs))
    return findings


_bike: Bike
_kinds: dict[str, tuple[Scenario, list[Rule]]]


def _begin(bike: Bike, names: list[str]) -> None:
    """Get a worker process ready."""
    from host_sim.rules.catalogue import rule_named

    signal.signal(signal.SIGINT, signal.SIG_IGN)  # The parent hears it and ends its workers.
    global _bike, _kinds
    _bike = bike
    _kinds = {}
    for name in names:
        rule = rule_named(name)
        for scenario in rule.scenarios:
            _kinds.setdefault(scenario.name, (scenario, []))[1].append(rule)


def _measure_some(jobs: list[tuple[str, int]]) -> tuple[list[Finding], int]:
    findings: list[Finding] = []
    for name, seed in jobs:
        scenario, rules = _kinds[name]
        findings += measure(_bike, scenario, seed, rules)
    return findings, len(jobs)
