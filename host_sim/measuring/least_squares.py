"""Least squares by scipy, with the optimum checked from several starts.

A search can stop in a local minimum, or anywhere along a flat one. So each search runs from starts that are
far apart, and at least two must end at the same point, the best one.
"""

from collections.abc import Callable, Sequence

import numpy as np

from host_sim.measuring.estimate import NotEnoughError
from host_sim.measuring.log import Series

# Two ends are the same point if no unknown differs by more than this share of its usual size.
AGREE = 3e-3
AT_BOUND = 1e-3  # In the same unit: a result closer to a bound than this is at the bound.

Misses = Callable[[Series], Series]
End = tuple[float, Series]  # Cost and position at the end of a search.


class Search:
    """The range of the unknowns: lowest and highest values, and the usual size of each. Read only.

    `robust`: misses far above 1 count linearly; otherwise all count by their squares.
    """

    __slots__ = ("highest", "lowest", "robust", "usual")

    def __init__(
        self, lowest: Sequence[float], highest: Sequence[float], usual: Sequence[float], robust: bool = False
    ) -> None:
        """Store bounds and sizes, of equal lengths."""
        self.lowest = np.array(lowest, dtype=np.float64)
        self.highest = np.array(highest, dtype=np.float64)
        self.usual = np.array(usual, dtype=np.float64)
        self.robust = robust

    def run(self, misses: Misses, start: Sequence[float] | Series) -> End:
        """Search from one start; return the cost and the position."""
        from scipy.optimize import least_squares

        result = least_squares(
            misses,
            np.clip(np.asarray(start, dtype=np.float64), self.lowest, self.highest),
            bounds=(self.lowest, self.highest),
            x_scale=self.usual,
            xtol=1e-8,
            loss="soft_l1" if self.robust else "linear",
        )
        return float(result.cost), np.asarray(result.x, dtype=np.float64)

    def from_starts(
        self, misses: Misses, starts: Sequence[Sequence[float] | Series], what: str, first: int | None = None
    ) -> Series:
        """Return the best position from all starts, checked as `unique` does."""
        return self.unique([self.run(misses, start) for start in starts], what, first)

    def unique(self, ends: list[End], what: str, first: int | None = None) -> Series:
        """Return the best position of the searches' ends; NotEnoughError with `what` if no two agree on it.

        Only the `first` unknowns are compared, or all. None of these may be at one of its bounds: there
        leaving out parts would change nothing, and the interval would have no width.
        """
        _, best = min(ends, key=lambda end: end[0])
        near = [np.abs(end - best)[:first] <= (AGREE * self.usual)[:first] for _, end in ends]
        if sum(bool(np.all(one)) for one in near) < 2:
            raise NotEnoughError(f"the search has no unique result: {what}")
        to_bound = np.minimum(best - self.lowest, self.highest - best)[:first] / self.usual[:first]
        if np.any(to_bound < AT_BOUND):
            raise NotEnoughError(f"the best fit is at a limit of what is possible: {what}")
        return best


def line_search(unknowns: int) -> Search:
    """Return a search for the unknowns of a straight line or plane, which may have any value."""
    return Search([-np.inf] * unknowns, [np.inf] * unknowns, [1.0] * unknowns)
