"""A measured number with its 95 % interval, and the interval by the jackknife."""

from math import isfinite, sqrt
from statistics import fmean

CONFIDENCE = 0.975  # Two-sided, 95 %.
PARTS_LEAST = 4  # With fewer, Student's t is so large that the interval is useless.


class Estimate:
    """`value` in `unit`; `low` to `high` contains the true value in 95 % of cases. Read only."""

    __slots__ = ("high", "low", "unit", "value")

    def __init__(self, value: float, half_width: float, unit: str, least: float | None = 0.0) -> None:
        """Store middle and half-width of the interval, which is cut off at the physical minimum `least`."""
        self.value = value
        self.low = value - half_width if least is None else max(value - half_width, least)
        self.high = value + half_width
        self.unit = unit

    def as_json(self) -> dict[str, float | str]:
        """Return the entry of `treadle measure --json`, with six significant digits."""
        return {
            "value": float(f"{self.value:.6g}"),
            "low": float(f"{self.low:.6g}"),
            "high": float(f"{self.high:.6g}"),
            "unit": self.unit,
        }


class NotEnoughError(Exception):
    """The log is not sufficient for the number; the message says what is missing."""


def half_width(without_one: list[float], shared: int) -> float:
    """Return half the interval of a number from its values with each part of the log left out once.

    The variance is the jackknife's, (n - 1)/n times the sum of squares (Efron and Stein, "The jackknife
    estimate of variance", Annals of Statistics 9 (1981) 586), its degrees of freedom n - `shared`, where
    `shared` counts the other unknowns that all parts have in common. NotEnoughError with fewer than 4 parts.
    """
    parts = len(without_one)
    if parts < PARTS_LEAST or not all(isfinite(value) for value in without_one):
        raise NotEnoughError(f"{parts} separate parts, at least {PARTS_LEAST} are needed for an interval")
    from scipy.stats import t as student

    mean = fmean(without_one)
    variance = (parts - 1) / parts * sum((value - mean) ** 2 for value in without_one)
    return float(student.ppf(CONFIDENCE, max(parts - shared, 1)) * sqrt(variance))
