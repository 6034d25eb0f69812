"""Rolling coefficient and drag area from coast-downs in both directions of one stretch of road.

The unknowns are both coefficients, the wind along the road, its grade, and the first speed of each run. Wind
and grade change their sign with the direction. Gusts last seconds, so errors of neighbouring samples are
correlated, and residuals alone would give too small an interval: the interval comes from leaving out one run
at a time.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from host_sim.measuring.coast_runs import CoastRun
from host_sim.measuring.estimate import Estimate, NotEnoughError, half_width
from host_sim.measuring.least_squares import End, Misses, Search
from host_sim.measuring.log import Series
from host_sim.measuring.road_law import Masses, coasting_speed

RUNS_LEAST = 4
SHARED = 2  # Wind and grade are fitted from the same runs.
# Rolling, drag area, wind, grade: start and bounds of the search.
STARTS = ((0.006, 0.5, 0.0, 0.0), (0.012, 0.9, 1.0, 0.001), (0.003, 0.25, -1.0, -0.001))
LOWEST = (0.0, 0.02, -4.0, -0.02)
HIGHEST = (0.1, 3.0, 4.0, 0.02)
USUAL = (0.005, 0.3, 0.5, 0.001)
SOUGHT = "the runs don't separate air from rolling resistance"


@dataclass(frozen=True, slots=True)
class CoastFit:
    """`crr`, `cda_m2`, wind and grade in the direction of sign 1; signs and residuals (m/s) of the runs."""

    crr: Estimate
    cda_m2: Estimate
    head_wind_m_per_s: float
    grade: float
    runs: list[CoastRun]
    signs: list[int]
    residuals: list[Series]


def fit_coast_downs(runs: list[CoastRun], masses: Masses) -> CoastFit:
    """Fit all runs together; NotEnoughError says what is missing.

    Runs alternate in direction, or first all go there and then all back: whichever fits better.
    """
    if len(runs) < RUNS_LEAST:
        raise NotEnoughError(
            f"{len(runs)} coast-downs found, at least {RUNS_LEAST} are needed, half of them in each direction"
        )
    first_speeds = [float(np.mean(run.speed_m_per_s[:3])) for run in runs]
    search = _search(len(runs))
    tried: list[tuple[list[End], list[int]]] = []
    for signs in _orders(len(runs)):
        misses = _misses_of(runs, signs, masses)
        tried.append(([search.run(misses, [*start, *first_speeds]) for start in STARTS], signs))
    # Only the better order must have a unique result: a wrong one may lead to a bound.
    ends, signs = min(tried, key=lambda one: min(cost for cost, _ in one[0]))
    found = search.unique(ends, SOUGHT, first=2)
    without_crr, without_cda = [], []
    for left_out in range(len(runs)):
        kept = [place for place in range(len(runs)) if place != left_out]
        start = np.concatenate((found[:4], found[4:][kept]))
        misses = _misses_of([runs[place] for place in kept], [signs[place] for place in kept], masses)
        again = _search(len(kept)).run(misses, start)[1]
        without_crr.append(float(again[0]))
        without_cda.append(float(again[1]))
    return CoastFit(
        Estimate(float(found[0]), half_width(without_crr, SHARED), ""),
        Estimate(float(found[1]), half_width(without_cda, SHARED), "m2"),
        float(found[2]),
        float(found[3]),
        runs,
        signs,
        _residuals(found, runs, signs, masses),
    )


def _orders(count: int) -> list[list[int]]:
    """Return the possible directions of the runs, 1 or -1 each."""
    in_turn = [1 if place % 2 == 0 else -1 for place in range(count)]
    halves = [1 if place < count // 2 else -1 for place in range(count)]
    return [in_turn, halves]


def _search(runs: int) -> Search:
    return Search((*LOWEST, *[0.5] * runs), (*HIGHEST, *[45.0] * runs), (*USUAL, *[0.2] * runs))


def _misses_of(runs: list[CoastRun], signs: list[int], masses: Masses) -> Misses:
    samples = _stacked(runs, signs)
    return lambda unknowns: _misses(unknowns, *samples, masses)


def _residuals(unknowns: Series, runs: list[CoastRun], signs: list[int], masses: Masses) -> list[Series]:
    """Return measured minus computed speed, run by run."""
    samples = [len(run.time_s) for run in runs]
    return np.split(_misses(unknowns, *_stacked(runs, signs), masses), np.cumsum(samples)[:-1])


def _stacked(runs: list[CoastRun], signs: list[int]) -> tuple[Series, Series, Series, NDArray[np.intp]]:
    """Return time, speed and direction of every sample of all runs, and the number of its run."""
    samples = [len(run.time_s) for run in runs]
    time_s = np.concatenate([run.time_s for run in runs])
    speed = np.concatenate([run.speed_m_per_s for run in runs])
    return (
        time_s,
        speed,
        np.repeat(np.array(signs, dtype=float), samples),
        np.repeat(np.arange(len(runs)), samples),
    )


def _misses(
    unknowns: Series, time_s: Series, speed: Series, sign: Series, run: NDArray[np.intp], masses: Masses
) -> Series:
    crr, cda_m2, wind, grade = (float(value) for value in unknowns[:4])
    computed = coasting_speed(masses, crr, cda_m2, sign * wind, sign * grade, unknowns[4:][run], time_s)
    # Far from the solution the law has poles, from which the search must be able to return.
    return np.asarray(speed - np.clip(computed, -50.0, 50.0), dtype=np.float64)
