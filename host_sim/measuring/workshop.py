"""What a workshop measures with a tape and a voltmeter: wheel circumference, and the scale of a reading."""

from dataclasses import dataclass
from math import sqrt

import numpy as np

from host_sim.measuring.estimate import CONFIDENCE, Estimate, NotEnoughError
from host_sim.measuring.least_squares import line_search
from host_sim.measuring.log import Series

PUSHES_LEAST = 3
POINTS_LEAST = 3
Pairs = list[tuple[float, float]]


@dataclass(frozen=True, slots=True)
class LineFit:
    """A straight line through pairs: `slope`, value `at_zero`, the `given` side of the pairs, residuals."""

    slope: Estimate
    at_zero: Estimate
    given: Series
    residuals: Series


def circumference(pushes: Pairs) -> LineFit:
    """Return the line through 0 of pushes (distance in m, turns): its slope is the circumference, m.

    It is the mean ratio: each push has the same weight, whatever its length. NotEnoughError below 3 pushes.
    """
    if len(pushes) < PUSHES_LEAST:
        raise NotEnoughError(f"{len(pushes)} pushes, at least {PUSHES_LEAST} are needed for an interval")
    from scipy.stats import t as student

    turns = np.array([one for _, one in pushes])
    ratios = np.array([way_m / one for way_m, one in pushes])
    found = line_search(1).from_starts(lambda unknowns: ratios - unknowns[0], ((2.0,), (0.5,)), "the pushes")
    spread = float(np.std(ratios, ddof=1)) / sqrt(len(ratios))
    half = float(student.ppf(CONFIDENCE, len(ratios) - 1)) * spread
    around = Estimate(float(found[0]), half, "m")
    return LineFit(around, Estimate(0.0, 0.0, "m"), turns, (ratios - around.value) * turns)


def straight_line(points: Pairs, unit: str) -> LineFit:
    """Return scale, and true value at reading 0 in `unit`, from (reading, true) pairs.

    Ordinary least squares with Student's t. NotEnoughError below 3 points or with all readings equal.
    """
    if len(points) < POINTS_LEAST:
        raise NotEnoughError(f"{len(points)} known values, at least {POINTS_LEAST} are needed")
    readings, true = (np.array(column, dtype=np.float64) for column in zip(*points, strict=True))
    if len(set(readings)) < 2:
        raise NotEnoughError("all readings are equal, so they don't show the scale")
    from scipy.stats import t as student

    middle = float(np.mean(readings))
    around = readings - middle
    found = line_search(2).from_starts(
        lambda unknowns: true - unknowns[0] * around - unknowns[1],
        ((1.0, 0.0), (0.0, 50.0), (-2.0, -50.0)),
        "the readings don't show the scale",
    )
    slope, at_middle = float(found[0]), float(found[1])
    residuals = true - slope * around - at_middle
    count, squares = len(points), float(around @ around)
    noise = sqrt(float(residuals @ residuals) / (count - 2))
    factor = float(student.ppf(CONFIDENCE, count - 2)) * noise
    return LineFit(
        Estimate(slope, factor / sqrt(squares), "", least=None),
        Estimate(
            at_middle - slope * middle, factor * sqrt(1.0 / count + middle**2 / squares), unit, least=None
        ),
        readings,
        residuals,
    )
