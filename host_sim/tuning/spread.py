"""How much a recommendation depends on the random draw of its rides."""

from collections.abc import Sequence
from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Spread:
    """The lowest and the highest value that a single draw recommends, and how many draws there were."""

    lowest: int
    highest: int
    draws: int

    @property
    def percent(self) -> float:
        """The spread as a share of its middle."""
        return 200.0 * (self.highest - self.lowest) / max(self.highest + self.lowest, 1)

    def words(self) -> str:
        """Return the spread as text for a table."""
        if self.lowest == self.highest:
            return f"the same on each of {self.draws} draws of the rides"
        return (
            f"{self.lowest} to {self.highest} on single draws of the rides, {self.draws} taken together here"
        )


def spread_of(values: Sequence[int]) -> Spread:
    """Return the spread of what single draws recommend; ValueError without any."""
    if not values:
        raise ValueError("a spread needs one value or more")
    return Spread(min(values), max(values), len(values))
