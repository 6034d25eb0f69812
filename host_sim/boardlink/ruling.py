"""Checks a bike against the rules before it is copied to a board; a failing rule must be accepted by name."""

from typing import Any

from host_sim.bikes.model import Bike
from host_sim.errors import RequestError
from host_sim.refusals import closest
from host_sim.rules.catalogue import RULES
from host_sim.rules.judge import Done, Say, Verdict, judge

FIRST_RIDE = 1


class Ruling:
    """The verdicts: `failing` rules, and `refused`, those of them that were not accepted.

    `untried` are rules that no ride tested. They don't prevent flashing, but they are reported, and the
    manifest records them.
    """

    def __init__(self, verdicts: list[Verdict], rides: int, accepted: tuple[str, ...]) -> None:
        """Sort the verdicts."""
        self.rides = rides
        applying = [verdict for verdict in verdicts if verdict.applies]
        self.held = sum(verdict.holds is True for verdict in applying)
        self.failing = [verdict for verdict in applying if verdict.fails]
        self.untried = [verdict for verdict in applying if verdict.not_shown]
        self.refused = [verdict for verdict in self.failing if verdict.rule.name not in accepted]
        self.accepted = [verdict for verdict in self.failing if verdict.rule.name in accepted]

    def as_json(self) -> dict[str, Any]:
        """Return the entry for the manifest."""
        return {
            "rides_of_each_kind": self.rides,
            "first_ride": FIRST_RIDE,
            "held": self.held,
            "accepted": [_entry(verdict) for verdict in self.accepted],
            "untried": [verdict.rule.name for verdict in self.untried],
        }

    def refusals(self) -> list[dict[str, Any]]:
        """Return the rules that prevent flashing."""
        return [_entry(verdict) for verdict in self.refused]


def check_names(names: list[str]) -> tuple[str, ...]:
    """Return the names of rules given by --accept; RequestError for an unknown one."""
    known = [rule.name for rule in RULES]
    for name in names:
        if name not in known:
            raise RequestError(f'--accept is "{name[:60]}", {closest(name, known)}')
    return tuple(names)


def rule_on(bike: Bike, rides: int, accepted: tuple[str, ...], done: Done, say: Say) -> Ruling:
    """Ride `rides` rides of each kind and judge; `done` and `say` are called as by `Judging.ride`."""
    return Ruling(judge(bike, RULES, FIRST_RIDE, rides, done, say=say), rides, accepted)


def _entry(verdict: Verdict) -> dict[str, Any]:
    return {
        "rule": verdict.rule.name,
        "measured": None if verdict.measured is None else round(verdict.measured, 4),
        "limit": None if verdict.limit is None else round(verdict.limit, 4),
        "unit": verdict.rule.unit,
        "ride": verdict.seed,
    }
