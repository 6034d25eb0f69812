"""Finds the coast-downs in logs: where the bicycle slows down without pedalling, motor or brakes."""

from dataclasses import dataclass

import numpy as np

from host_sim.measuring.log import Log, Series

# Below this, a tail wind may be faster than the bicycle, which changes a sign in the law.
SLOWEST_M_PER_S = 2.0
DROP_LEAST_M_PER_S = 1.5
SECONDS_LEAST = 6.0
RISE_MOST_M_PER_S = 0.5  # More than noise and gusts: someone is pedalling, or a new run begins.
BRAKING_M_PER_S2 = 1.2  # Below 10 m/s a grade of a few per mille never slows a bicycle this much.
GAP_MOST_S = 2.5
_SMOOTH_S = 1.0
_CELL_S = 0.5  # Samples are averaged over this time, in which the speed is nearly linear.


@dataclass(frozen=True, slots=True)
class CoastRun:
    """One coast-down: times from 0, and speeds, of equal length."""

    name: str
    time_s: Series
    speed_m_per_s: Series


def coast_runs(log: Log) -> list[CoastRun]:
    """Return the coast-downs of a log in the order of time, possibly none."""
    time_s, speed = log.rows_with("time_s", "speed_m_per_s")
    rest = log.at_rest()[~np.isnan(log.columns["speed_m_per_s"])]
    smooth = _smoothed(time_s, speed)
    runs: list[CoastRun] = []
    top = 0
    lowest = smooth[0]
    for row in range(len(time_s)):
        new_part = row > top and time_s[row] - time_s[row - 1] > GAP_MOST_S
        brakes = row > top and _falls(time_s, smooth, row) > BRAKING_M_PER_S2
        over = new_part or brakes or not rest[row] or smooth[row] < SLOWEST_M_PER_S
        if over or smooth[row] > lowest + RISE_MOST_M_PER_S:
            # Smoothing mixes the last samples with braking, so they are left out.
            _keep(runs, log.name, time_s[top:row], speed[top:row], smooth[top:row], brakes)
            top, lowest = row, smooth[row]
        elif smooth[row] >= smooth[top]:
            # If the speed is higher later and nothing was gained before, the run begins there.
            if time_s[row] - time_s[top] < SECONDS_LEAST:
                top = row
            lowest = min(lowest, smooth[row]) if top != row else smooth[row]
        else:
            lowest = min(lowest, smooth[row])
    _keep(runs, log.name, time_s[top:], speed[top:], smooth[top:], False)
    return runs


def _smoothed(time_s: Series, speed: Series) -> Series:
    """Return the mean speed over half a second on both sides of each sample."""
    total = np.concatenate(([0.0], np.cumsum(speed)))
    first = np.searchsorted(time_s, time_s - 0.5 * _SMOOTH_S)
    last = np.searchsorted(time_s, time_s + 0.5 * _SMOOTH_S, side="right")
    return np.asarray((total[last] - total[first]) / (last - first), dtype=np.float64)


def _falls(time_s: Series, smooth: Series, row: int) -> float:
    """Return how fast the speed falls over the second before `row`."""
    earlier = min(int(np.searchsorted(time_s, time_s[row] - 1.0)), row - 1)
    return float((smooth[earlier] - smooth[row]) / (time_s[row] - time_s[earlier]))


def _keep(
    runs: list[CoastRun], name: str, time_s: Series, speed: Series, smooth: Series, braked: bool
) -> None:
    if braked and len(time_s):
        kept = time_s < time_s[-1] - 1.5
        time_s, speed, smooth = time_s[kept], speed[kept], smooth[kept]
    if len(time_s) < 6 or time_s[-1] - time_s[0] < SECONDS_LEAST:
        return
    if smooth[0] - smooth[-1] >= DROP_LEAST_M_PER_S:
        cell = ((time_s - time_s[0]) // _CELL_S).astype(int)
        count = np.bincount(cell)
        filled = count > 0
        mean_time_s = np.bincount(cell, weights=time_s)[filled] / count[filled]
        mean_speed = np.bincount(cell, weights=speed)[filled] / count[filled]
        runs.append(CoastRun(f"{name} run {len(runs) + 1}", mean_time_s - mean_time_s[0], mean_speed))
