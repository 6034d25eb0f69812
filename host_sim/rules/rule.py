"""What a rule is: a sentence, a limit, its source, the rides that exercise it, and how it is measured."""

from collections.abc import Callable
from dataclasses import dataclass

from host_sim.bikes.model import Bike
from host_sim.rules.case import Case, Scenario
from host_sim.rules.probe import Probe as Probe  # Re-exported for the files of rules.

STATES, CAUSES, WATTS = "states", "fault causes", "watts"
COMMON_PRACTICE = "common practice, no source"


Limit = Callable[[Bike], float | None]
Strict = Callable[[Bike], bool]
Cure = Callable[[Bike, float, float], str]


@dataclass(frozen=True, slots=True, eq=False)
class Rule:
    """One obligation: what was measured must not exceed the limit, or must stay below it.

    `limit` returns the limit for this bike and its place, or None if the rule does not apply (no throttle).
    `strict` tells whether, for this bike and its place, a value equal to the limit fails. `cure` says, when
    the rule fails, which numbers conflict and what would help; "" if there is no advice. `needs` names what
    the probe reads inside the controller, besides its outputs: STATES, CAUSES, WATTS.
    """

    name: str
    sentence: str
    unit: str
    limit: Limit
    source: str
    scenarios: tuple[Scenario, ...]
    probe: Callable[[Case], Probe]
    strict: Strict = lambda bike: False
    cure: Cure = lambda bike, measured, limit: ""
    needs: tuple[str, ...] = ()

    def holds(self, bike: Bike, measured: float, limit: float) -> bool:
        """Tell whether a measured value keeps the rule."""
        return measured < limit if self.strict(bike) else measured <= limit
