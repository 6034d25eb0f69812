"""The result of one rule's rides: it holds, it fails, or it was not shown."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from host_sim.bikes.model import Bike
from host_sim.rules.rule import Rule

HOLDS = "holds"
FAILS = "fails"
NOT_SHOWN = "not shown"


@dataclass(frozen=True, slots=True)
class Finding:
    """What one rule measured on one ride: `measured`, on ride `seed` of `scenario`."""

    rule: str
    scenario: str
    seed: int
    measured: float


class Verdict:
    """The worst of all findings of one rule.

    `applies` is False for a rule that does not apply to this bike (no throttle, say). `outcome` is HOLDS,
    FAILS or NOT_SHOWN. A rule is not shown if no ride tested it (then `measured` is None), or if an
    interruption left one of its kinds of rides without any ride. `why_not_shown` says which.
    `ridden` holds the number of rides of each of its kinds.
    """

    def __init__(
        self,
        rule: Rule,
        bike: Bike,
        findings: Sequence[Finding],
        ridden: Mapping[str, int] | None = None,
        hidden: tuple[str, ...] = (),
    ) -> None:
        """Judge the findings; without `ridden` each kind of the rule counts as ridden once.

        `hidden` names what the rule needs to read inside the controller but can't.
        """
        self.rule = rule
        self.limit = rule.limit(bike)
        self.applies = self.limit is not None
        # Of equals take the lowest seed, then the first name, so that the order of processes doesn't matter.
        worst = min(findings, key=lambda found: (-found.measured, found.seed, found.scenario), default=None)
        self.measured = None if worst is None else worst.measured
        self.seed = None if worst is None else worst.seed
        self.scenario = None if worst is None else worst.scenario
        self.ridden = (
            dict.fromkeys((kind.name for kind in rule.scenarios), 1) if ridden is None else dict(ridden)
        )
        self.cure = ""
        self.why_not_shown = ""
        self.outcome = HOLDS
        if self.limit is None:
            return
        if self.measured is None:
            self.outcome = NOT_SHOWN
            self.why_not_shown = self._nothing_measured()
            if hidden:
                self.why_not_shown = (
                    f"this controller doesn't show its {' and '.join(hidden)}, only its outputs"
                )
        elif not rule.holds(bike, self.measured, self.limit):
            self.outcome = FAILS
            self.cure = rule.cure(bike, self.measured, self.limit)
        elif missing := [kind for kind, rides in self.ridden.items() if rides == 0]:
            self.outcome = NOT_SHOWN
            self.why_not_shown = f"not ridden yet: {', '.join(missing)}"

    def _nothing_measured(self) -> str:
        if not self.ridden:
            return "this bike can't ride any of its rides"
        rides, kinds = sum(self.ridden.values()), ", ".join(self.ridden)
        if rides == 0:
            return f"not ridden yet: {kinds}"
        if rides == 1:
            return f"its one ride didn't test it ({kinds})"
        return f"none of {rides} rides tested it ({kinds})"

    @property
    def holds(self) -> bool | None:
        """Whether the rule holds; None if not shown. A rule that doesn't apply holds."""
        return None if self.outcome == NOT_SHOWN else self.outcome == HOLDS

    @property
    def fails(self) -> bool:
        """Whether a ride broke the rule."""
        return self.outcome == FAILS

    @property
    def not_shown(self) -> bool:
        """Whether the rides showed neither that the rule holds nor that it fails."""
        return self.outcome == NOT_SHOWN

    @property
    def margin(self) -> float | None:
        """The distance to the limit; negative if the rule fails, None if nothing was measured."""
        return None if self.limit is None or self.measured is None else self.limit - self.measured
