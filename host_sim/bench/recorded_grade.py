"""The grade of the road, from recorded altitude over recorded distance.

A recorder's altitude has steps of 0.2 m and drifts with the air pressure; second by second it would look like
stairs. So it is resampled over distance and smoothed by a Savitzky-Golay filter, which also gives the slope
(scipy.signal.savgol_filter). A standing rider covers no distance, so the only special case is that all
altitudes read at one place are averaged.
"""

import numpy as np
from numpy.typing import NDArray

GRID_M = 5.0
WINDOW_POINTS = 31  # 150 m: the rise of a 1 % grade over it is seven steps of the altitude.
WINDOW_POINTS_MIN = 5
GRADE_MAX = 0.25  # Anything steeper is a street with steps, or a drifting barometer.
_SPEED_FILL_MAX_S = 3


def grades(
    speed_m_per_s: list[float | None], altitude_m: list[float | None], paused: list[bool]
) -> list[float]:
    """Return rise over run for each second, within ±GRADE_MAX; all 0 where speed or altitude is unknown.

    An empty altitude is interpolated over any gap, since the road continues. An empty speed counts as the
    previous one for a few seconds, then as standing. A change of altitude during a pause is not a hill and is
    left out.
    """
    level = [0.0] * len(speed_m_per_s)
    known_altitude = np.array([value is not None for value in altitude_m])
    if not known_altitude.any() or all(value is None for value in speed_m_per_s):
        return level
    rows = np.arange(len(level), dtype=float)
    heights = np.array([value for value in altitude_m if value is not None], dtype=float)
    altitude = np.interp(rows, rows[known_altitude], heights)
    climbs = np.diff(altitude, prepend=altitude[0])
    # The step out of a pause belongs to it too.
    standing = np.array(paused) | np.array([False, *paused[:-1]])
    altitude = np.cumsum(np.where(standing, 0.0, climbs))
    distance = distances_m(speed_m_per_s)
    points = int(distance[-1] // GRID_M) + 1
    window = min(WINDOW_POINTS, points if points % 2 else points - 1)
    if window < WINDOW_POINTS_MIN:
        return level
    places, place_of_row = np.unique(distance, return_inverse=True)
    mean_altitude = np.bincount(place_of_row, weights=altitude) / np.bincount(place_of_row)
    grid = np.arange(points) * GRID_M
    # Imported here because it takes longer than all other imports together, and few rides need it.
    from scipy.signal import savgol_filter

    slope = savgol_filter(np.interp(grid, places, mean_altitude), window, 2, deriv=1, delta=GRID_M)
    clamped = np.clip(np.interp(distance, grid, slope), -GRADE_MAX, GRADE_MAX)
    return [float(value) for value in clamped]


def distances_m(speed_m_per_s: list[float | None]) -> NDArray[np.float64]:
    """Return the recorded distance at each second, starting at 0."""
    speeds = np.zeros(len(speed_m_per_s))
    empty_for_s = 0
    latest = 0.0
    for row, speed in enumerate(speed_m_per_s):
        empty_for_s = 0 if speed is not None else empty_for_s + 1
        latest = speed if speed is not None else (latest if empty_for_s <= _SPEED_FILL_MAX_S else 0.0)
        speeds[row] = latest
    return np.concatenate(([0.0], np.cumsum((speeds[1:] + speeds[:-1]) / 2.0)))
