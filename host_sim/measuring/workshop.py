"""What a workshop measures with a tape and a voltmeter: wheel circumference, and the scale of a reading."""

from math import sqrt

import numpy as np

from host_sim.measuring.estimate import CONFIDENCE, Estimate, NotEnoughError

PUSHES_LEAST = 3
POINTS_LEAST = 3


def circumference(pushes: list[tuple[float, float]]) -> Estimate:
    """Return the wheel's circumference from pushes of (distance in m, turns of the wheel): the mean ratio.

    NotEnoughError below 3 pushes.
    """
    if len(pushes) < PUSHES_LEAST:
        raise NotEnoughError(f"{len(pushes)} pushes, at least {PUSHES_LEAST} are needed for an interval")
    from scipy.stats import t as student

    ratios = np.array([way_m / turns for way_m, turns in pushes])
    spread = float(np.std(ratios, ddof=1)) / sqrt(len(ratios))
    half = float(student.ppf(CONFIDENCE, len(ratios) - 1)) * spread
    return Estimate(float(np.mean(ratios)), half, "m")


def straight_line(points: list[tuple[float, float]], unit: str) -> tuple[Estimate, Estimate]:
    """Return (scale, true value at reading 0) from (reading, true) pairs.

    Ordinary least squares with Student's t. NotEnoughError below 3 points or with all readings equal.
    """
    if len(points) < POINTS_LEAST:
        raise NotEnoughError(f"{len(points)} known values, at least {POINTS_LEAST} are needed")
    if len({reading for reading, _ in points}) < 2:
        raise NotEnoughError("all readings are equal, so they don't show the scale")
    from scipy.stats import linregress
    from scipy.stats import t as student

    line = linregress([reading for reading, _ in points], [true for _, true in points])
    factor = float(student.ppf(CONFIDENCE, len(points) - 2))
    return (
        Estimate(float(line.slope), factor * float(line.stderr), "", least=None),
        Estimate(float(line.intercept), factor * float(line.intercept_stderr), unit, least=None),
    )
