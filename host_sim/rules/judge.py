"""Simulates the rides and checks them against the rules.

Each ride runs once, and every rule that applies to its kind measures it. Worker processes run the rides on
the compiled bench and return the worst case of every rule, with the ride that shows it. If no ride tests a
rule, up to MORE_ROUNDS times as many rides of its kinds are added.
"""

from collections.abc import Callable, Iterator, Sequence
from functools import partial

from host_sim.bikes.model import Bike
from host_sim.compiled.build import HOT, is_built
from host_sim.compiled.workers import Workers, usual_count
from host_sim.rules.case import Build, Scenario
from host_sim.rules.catalogue import RULES
from host_sim.rules.measure import Job, measure, ride_job, ride_once
from host_sim.rules.rule import Rule
from host_sim.rules.verdict import FAILS, HOLDS, NOT_SHOWN, Finding, Verdict

__all__ = ["FAILS", "HOLDS", "NOT_SHOWN", "Done", "Finding", "Judging", "Say", "Verdict", "judge", "measure"]

MORE_ROUNDS = 3  # With the rides asked for, a rule that was not shown gets up to four times as many.
FEW_RIDES = 4  # Fewer rides are done before a worker process has started.
COMPILING_PAYS = 400  # Fewer rides take less time interpreted than a first compilation does.
BATCH = 8  # Rides sent to a worker process together.

Done = Callable[[int, int], None]
Say = Callable[[str], None]
Kinds = dict[str, tuple[Scenario, list[Rule]]]


def _nobody_listens(sentence: str) -> None:
    """Ignore the message."""


class Judging:
    """The rides for some rules on one bike, and their results so far.

    KeyboardInterrupt may interrupt `ride` at any time: `verdicts` then judges the finished rides. Read:
    `rides`, the requested number of each kind, and `ridden`, the finished number by kind.
    """

    def __init__(
        self, bike: Bike, rules: Sequence[Rule], seed: int, rides: int, build: Build | None = None
    ) -> None:
        """Plan `rides` rides of each kind, numbered from `seed` on.

        `build` makes the controller; None for the firmware's own. Another controller's rides are interpreted,
        and rules that need more than it shows are not ridden; their verdict says so.
        """
        self.rules = rules
        self.rides = rides
        self._bike = bike
        self._seed = seed
        self._build = build
        self._applying = [rule for rule in rules if rule.limit(bike) is not None and not self._hidden(rule)]
        self._kinds = _kinds_of(self._applying)
        self._findings: dict[str, list[Finding]] = {rule.name: [] for rule in self._applying}
        self.ridden = dict.fromkeys(self._kinds, 0)
        self._refused: set[str] = set()  # Kinds of which this bike could not ride some number.
        self._more: dict[str, dict[str, int]] = {}  # Further rides of a rule that was not shown, by kind.

    def ride(self, done: Done, workers: int | None = None, say: Say = _nobody_listens) -> None:
        """Run all rides. `done(finished, all)` is called for progress, `say` with messages.

        `workers` is the number of processes; with 1 all rides run in this process, interpreted.
        """
        jobs = self._jobs(self._kinds, self._seed)
        count = workers or usual_count()
        if count == 1 or len(jobs) < FEW_RIDES or not all(rule in RULES for rule in self.rules):
            self._ride_all(jobs, self._ridden_here, done, say)
            return
        compiled = self._build is None and (len(jobs) >= COMPILING_PAYS or is_built(HOT))
        with Workers(count, compiled, say) as processes:
            if processes.notice:
                say(processes.notice)
            ride = partial(ride_job, self._bike, build=self._build)
            self._ride_all(jobs, lambda some: processes.map(ride, some, BATCH), done, say)

    def verdicts(self) -> list[Verdict]:
        """Judge the finished rides: one verdict for each rule, in their order."""
        return [
            Verdict(
                rule,
                self._bike,
                self._findings.get(rule.name, []),
                self._ridden_for(rule),
                self._hidden(rule),
            )
            for rule in self.rules
        ]

    def _hidden(self, rule: Rule) -> tuple[str, ...]:
        """Return what a rule needs to read inside the controller but can't."""
        return () if self._build is None or self._build.shows_all else rule.needs

    def _ride_all(
        self,
        jobs: list[Job],
        ride: Callable[[list[Job]], Iterator[list[Finding] | None]],
        done: Done,
        say: Say,
    ) -> None:
        """Ride the jobs; then, for rules that were not shown, round after round of further numbers."""
        finished = 0
        for finished, (job, found) in enumerate(zip(jobs, ride(jobs), strict=True), start=1):
            self._note(job, found, self.ridden)
            done(finished, len(jobs))
        for further in range(1, MORE_ROUNDS + 1):
            kinds = self._kinds_not_shown()
            jobs = self._jobs(kinds, self._seed + further * self.rides)
            if jobs and further == 1:
                say(self._why_more(kinds))
            before = finished
            for finished, (job, found) in enumerate(zip(jobs, ride(jobs), strict=True), start=before + 1):
                self._note_further(job, found)
                done(finished, before + len(jobs))

    def _ridden_here(self, jobs: list[Job]) -> Iterator[list[Finding] | None]:
        for kind, seed, names in jobs:
            scenario, rules = self._kinds[kind]
            wanted = [rule for rule in rules if rule.name in names]
            yield ride_once(self._bike, scenario, seed, wanted, self._build)

    def _jobs(self, kinds: Kinds, first: int) -> list[Job]:
        """Return the rides of all kinds, number after number, so that an interruption leaves some of each."""
        names = {kind: tuple(rule.name for rule in rules) for kind, (_, rules) in kinds.items()}
        return [(kind, first + ride, names[kind]) for ride in range(self.rides) for kind in kinds]

    def _note(self, job: Job, found: list[Finding] | None, ridden: dict[str, int]) -> None:
        if found is None:
            self._refused.add(job[0])
        else:
            ridden[job[0]] = ridden.get(job[0], 0) + 1
            for finding in found:
                self._findings[finding.rule].append(finding)

    def _note_further(self, job: Job, found: list[Finding] | None) -> None:
        for name in job[2]:
            further = self._more.setdefault(name, {})
            further[job[0]] = further.get(job[0], 0) + (found is not None)
        self._note(job, found, {})

    def _kinds_not_shown(self) -> Kinds:
        """Return the kinds of rides of rules without a finding, as far as this bike can ride them."""
        open_rules = [rule for rule in self._applying if not self._findings[rule.name]]
        return {kind: pair for kind, pair in _kinds_of(open_rules).items() if self.ridden[kind] > 0}

    def _why_more(self, kinds: Kinds) -> str:
        names = sorted({rule.name for _, rules in kinds.values() for rule in rules})
        return (
            f"not yet tested: {', '.join(names)}; up to {MORE_ROUNDS * self.rides} more rides "
            f"of these kinds follow: {', '.join(kinds)}"
        )

    def _ridden_for(self, rule: Rule) -> dict[str, int]:
        """Return how many rides this rule has measured, by kind, without kinds that the bike can't ride."""
        further = self._more.get(rule.name, {})
        kinds = [scenario.name for scenario in rule.scenarios]
        ridden = {kind: self.ridden.get(kind, 0) + further.get(kind, 0) for kind in kinds}
        return {kind: rides for kind, rides in ridden.items() if rides > 0 or kind not in self._refused}


def _kinds_of(rules: Sequence[Rule]) -> Kinds:
    kinds: Kinds = {}
    for rule in rules:
        for scenario in rule.scenarios:
            kinds.setdefault(scenario.name, (scenario, []))[1].append(rule)
    return kinds


def judge(
    bike: Bike,
    rules: Sequence[Rule],
    seed: int,
    rides: int,
    done: Done,
    workers: int | None = None,
    say: Say = _nobody_listens,
) -> list[Verdict]:
    """Return a verdict for each rule from `rides` rides of each kind, from number `seed` on; see Judging."""
    judging = Judging(bike, rules, seed, rides)
    judging.ride(done, workers, say)
    return judging.verdicts()
