"""How much a recommendation depends on the random draw of its rides, and choices that depend on it little."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from math import exp, log

AS_GOOD = 0.05  # Thresholds whose scores differ by no more than this count as equally good.


@dataclass(frozen=True, slots=True)
class Spread:
    """The lowest and the highest value that a single draw recommends, and how many draws there were.

    `flat`: from where to where the score is as good as the best, on all draws together.
    """

    lowest: int
    highest: int
    draws: int
    flat: tuple[int, int] | None = None

    @property
    def percent(self) -> float:
        """The spread as a share of its middle."""
        return 200.0 * (self.highest - self.lowest) / max(self.highest + self.lowest, 1)

    def words(self) -> str:
        """Return it for a table."""
        return "; ".join(filter(None, (self.flat_words(), self._draw_words())))

    def flat_words(self) -> str:
        """Return where the score is flat, "" if it is nowhere."""
        if self.flat is None or self.flat[0] == self.flat[1]:
            return ""
        return f"flat between {self.flat[0]} and {self.flat[1]}"

    def _draw_words(self) -> str:
        if self.lowest == self.highest:
            return f"the same on each of {self.draws} draws of the rides"
        return (
            f"{self.lowest} to {self.highest} on single draws of the rides, {self.draws} taken together here"
        )


def spread_of(values: Sequence[int], flat: Sequence[int] = ()) -> Spread:
    """Return the spread of what single draws recommend, `flat` all that is as good; ValueError for none."""
    if not values:
        raise ValueError("a spread needs one value or more")
    ends = (min(flat), max(flat)) if flat else None
    return Spread(min(values), max(values), len(values), ends)


def nearest(values: Sequence[int], present: int) -> int:
    """Return the value nearest to the present one by ratio, the lower of two.

    Of equally good values it is the smallest change, so luck moves nothing and tuning again changes nothing.
    """
    return min(values, key=lambda value: (abs(log(value / present)), value))


def balance_point(values: Sequence[int], score: Callable[[int], float], as_good: float) -> int:
    """Return the value nearest to the mean of all, each weighed by its score.

    The least of several nearly equal scores is luck; the mean changes little from draw to draw.
    """
    scores = {value: score(value) for value in values}
    least = min(scores.values())
    weights = {value: exp(-(one - least) / as_good) for value, one in scores.items()}
    middle = sum(value * weight for value, weight in weights.items()) / sum(weights.values())
    return min(values, key=lambda value: (abs(value - middle), value))
