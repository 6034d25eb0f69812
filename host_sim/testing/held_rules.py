"""One rule of `treadle verify` as an assertion."""

from host_sim.bench.foreign import Build, hosted
from host_sim.bikes.model import Bike
from host_sim.rules.catalogue import rule_named
from host_sim.rules.judge import Judging
from host_sim.rules.verdict import Verdict
from host_sim.testing.benches import bike_of

RIDES = 3
SEED = 1


def measured_by_rule(
    rule: str, bike: Bike | str, controller: Build | None = None, *, rides: int = RIDES, seed: int = SEED
) -> Verdict:
    """Return the verdict of one rule, by its name in `treadle verify`; RequestError if there is none.

    Runs `rides` rides of each of its kinds in this process, with seeds from `seed` on.
    """
    judging = Judging(bike_of(bike), [rule_named(rule)], seed, rides, hosted(controller))
    judging.ride(lambda done, of_all: None, workers=1)
    return judging.verdicts()[0]


def assert_rule_holds(
    rule: str, bike: Bike | str, controller: Build | None = None, *, rides: int = RIDES, seed: int = SEED
) -> None:
    """Fail with the numbers, the ride and its command if the rule fails or is not shown.

    A rule that does not apply to the bike fails too: nothing was tested. The parameters are those of
    `measured_by_rule`.
    """
    verdict = measured_by_rule(rule, bike, controller, rides=rides, seed=seed)
    if not verdict.applies:
        raise AssertionError(f'"{rule}" does not apply to {bike_of(bike).name}')
    if verdict.not_shown:
        raise AssertionError(f'"{rule}" was not shown: {verdict.why_not_shown}')
    if verdict.fails:
        raise AssertionError(
            f'"{rule}" fails: {verdict.measured:.4g} against {verdict.limit:.4g} {verdict.rule.unit} on ride '
            f"{verdict.seed} ({verdict.scenario}). {verdict.rule.sentence}"
        )
