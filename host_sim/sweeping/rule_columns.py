"""Checks a point against rules of `verify`: the same rides, probes, limits and judge.

Measures of a sweep's own ride are not rules, because `verify` judges other rides.
"""

from host_sim.bikes.model import Bike
from host_sim.rules.case import Build
from host_sim.rules.catalogue import rule_named
from host_sim.rules.judge import Judging

RIDES, RIDES_MOST = 3, 1000


def _column(rule: str) -> str:
    return rule.replace(" ", "_").replace("-", "_")


def worst_column(rule: str) -> str:
    """Return the name of the column with the worst measured value, in the unit of the rule."""
    return f"worst_{_column(rule)}"


def margin_column(rule: str) -> str:
    """Return the name of the column with the margin to the limit; below 0 the rule fails."""
    return f"margin_{_column(rule)}"


def rule_columns(rules: tuple[str, ...]) -> list[str]:
    """Return the names of the columns of some rules."""
    return [column for rule in rules for column in (worst_column(rule), margin_column(rule))]


def judged(
    bike: Bike, rules: tuple[str, ...], rides: int, seed: int, build: Build | None
) -> dict[str, float | None]:
    """Return the columns of one bike, as `verify` finds them with so many rides from this seed on.

    None if a rule doesn't apply to the bike, or no ride tested it.
    """
    if not rules:
        return {}
    judging = Judging(bike, [rule_named(name) for name in rules], seed, rides, build)
    judging.ride(lambda done, of_all: None, workers=1)
    columns: dict[str, float | None] = {}
    for verdict in judging.verdicts():
        name = verdict.rule.name
        columns[worst_column(name)] = verdict.measured if verdict.applies else None
        columns[margin_column(name)] = verdict.margin
        if verdict.fails and verdict.margin == 0.0:
            columns[margin_column(name)] = -1e-9  # Reaching the limit already breaks this rule.
    return columns
