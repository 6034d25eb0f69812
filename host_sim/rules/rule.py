"""What a rule is: a sentence, a limit, its source, the rides that exercise it, and how it is measured."""

from collections.abc import Callable

from host_sim.bikes.model import Bike
from host_sim.rules.case import Case, Scenario
from host_sim.rules.probe import Probe as Probe  # Re-exported for the files of rules.

STATES, CAUSES, WATTS = "states", "fault causes", "watts"
COMMON_PRACTICE = "common practice, no source"


Limit = Callable[[Bike], float | None]
Strict = Callable[[Bike], bool]
Cure = Callable[[Bike, float, float], str]


class Rule:
    """One obligation: what was measured must not exceed the limit, or must stay below it.

    `strict` tells whether, for this bike and its place, a value equal to the limit fails.
    `limit` returns the limit for this bike and its place, or None if the rule does not apply (no throttle).
    `needs` names what the probe reads inside the controller, besides its outputs: STATES, CAUSES, WATTS.
    `cure` says, when the rule fails, which numbers conflict and what would help.
    """

    __slots__ = (
        "_cure",
        "_strict",
        "limit",
        "name",
        "needs",
        "probe",
        "scenarios",
        "sentence",
        "source",
        "unit",
    )

    def __init__(
        self,
        name: str,
        sentence: str,
        unit: str,
        limit: Limit,
        source: str,
        scenarios: tuple[Scenario, ...],
        probe: Callable[[Case], Probe],
        strict: Strict | None = None,
        cure: Cure | None = None,
        needs: tuple[str, ...] = (),
    ) -> None:
        """State the rule."""
        self.name = name
        self.sentence = sentence
        self.unit = unit
        self.limit = limit
        self.source = source
        self.scenarios = scenarios
        self.probe = probe
        self._strict = strict
        self._cure = cure
        self.needs = needs

    def strict(self, bike: Bike) -> bool:
        """Tell whether a measured value equal to the limit breaks the rule."""
        return self._strict is not None and self._strict(bike)

    def holds(self, bike: Bike, measured: float, limit: float) -> bool:
        """Tell whether a measured value keeps the rule."""
        return measured < limit if self.strict(bike) else measured <= limit

    def cure(self, bike: Bike, measured: float, limit: float) -> str:
        """Return which numbers conflict and what would help, or "" if the rule has no advice."""
        return "" if self._cure is None else self._cure(bike, measured, limit)
