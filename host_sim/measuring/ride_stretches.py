"""Cuts rides with a power meter into stretches of equal length, without braking or long rests."""

from dataclasses import dataclass, fields

import numpy as np
from numpy.typing import NDArray

from host_sim.measuring.log import Log, Series
from host_sim.measuring.road_law import Masses

WAY_M = 600.0  # On longer stretches gusts and errors of altitude at both ends matter less.
SLOWEST_M_PER_S = 2.0
GAP_MOST_S = 5.0
PEDALLED_W = 20.0
RESTING_S = 3  # A rider who rests this long may be dragging a brake, which a log does not show.
BRAKING_M_PER_S2 = 0.5  # Without pedalling; except uphill the road alone seldom slows a bicycle more.
LAGS_S = tuple(range(-2, 15))  # An altimeter by air pressure shows a height some seconds late.
SMOOTH_S = 17  # A cubic in this window keeps hills and removes most of the altimeter's noise.
_NAMES = ("time_s", "speed_m_per_s", "altitude_m", "rider_power_w")


@dataclass(frozen=True, slots=True)
class Stretches:
    """Entry i of each array is about stretch i; `climb_m` has one row for each of LAGS_S.

    `wheel_w`: the rider's mean power after the chain; `gain_n`: the change of kinetic energy per distance;
    `shape`: the mean of the cubed speed over the cube of the mean speed.
    """

    middle_s: Series
    way_m: Series
    wheel_w: Series
    gain_n: Series
    speed_m_per_s: Series
    shape: Series
    climb_m: Series

    def __len__(self) -> int:
        """Return the number of stretches."""
        return len(self.way_m)

    def without(self, places: NDArray[np.intp]) -> "Stretches":
        """Return all stretches but these."""
        return Stretches(*(np.delete(getattr(self, one.name), places, axis=-1) for one in fields(self)))

    def climb_after_m(self, lag_s: float) -> Series:
        """Return the climbs (m) if the altimeter lags by `lag_s` (within LAGS_S)."""
        place = lag_s - LAGS_S[0]
        low = min(int(place), len(LAGS_S) - 2)
        last = len(LAGS_S) - 1
        before, first, second, after = (self.climb_m[min(max(low + one, 0), last)] for one in (-1, 0, 1, 2))
        # Catmull-Rom: a kink at each full second would stop the search.
        part = place - low
        straight = 0.5 * (second - before)
        square = before - 2.5 * first + 2.0 * second - 0.5 * after
        cube = 0.5 * (after - before) + 1.5 * (first - second)
        return np.asarray(first + part * (straight + part * (square + part * cube)), dtype=np.float64)


def stretches(logs: list[Log], masses: Masses, chain_efficiency: float) -> Stretches:
    """Return the stretches of all rides, possibly none, in the order of time."""
    rows = [
        row for log in logs for part in _parts(log) for row in _stretches_of(part, masses, chain_efficiency)
    ]
    table = np.array(rows, dtype=np.float64).reshape(len(rows), 6 + len(LAGS_S)).T
    return Stretches(table[0], table[1], table[2], table[3], table[4], table[5], table[6:])


def _parts(log: Log) -> list[tuple[Series, ...]]:
    """Return time, speed, altitude and power once a second, in parts without gaps."""
    columns = log.rows_with(*_NAMES)
    time_s = columns[0]
    if not len(time_s):
        return []
    parts = []
    for rows in np.split(np.arange(len(time_s)), np.flatnonzero(np.diff(time_s) > GAP_MOST_S) + 1):
        seconds = np.arange(time_s[rows[0]], time_s[rows[-1]] + 1e-9)
        if len(seconds) > SMOOTH_S:
            parts.append((seconds, *(np.interp(seconds, time_s[rows], one[rows]) for one in columns[1:])))
    return parts


def _stretches_of(
    part: tuple[Series, ...], masses: Masses, chain_efficiency: float
) -> list[tuple[float, ...]]:
    from scipy.signal import savgol_filter

    time_s, speed, altitude_m, power_w = part
    height_m = savgol_filter(altitude_m, SMOOTH_S, 3)
    late_m = [np.interp(time_s + lag_s, time_s, height_m) for lag_s in LAGS_S]
    way_m = np.concatenate(([0.0], np.cumsum(0.5 * (speed[1:] + speed[:-1]))))
    bad = _bad(speed, power_w)
    found: list[tuple[float, ...]] = []
    first = 0
    for row in range(len(time_s)):
        if bad[row]:
            first = row + 1
        elif way_m[row] - way_m[first] >= WAY_M:
            inside = slice(first, row + 1)
            seconds, way = float(row - first), float(way_m[row] - way_m[first])
            mean = way / seconds
            found.append(
                (
                    0.5 * float(time_s[first] + time_s[row]),
                    way,
                    chain_efficiency * float(np.trapezoid(power_w[inside])) / seconds,
                    0.5 * masses.inertial_kg * float(speed[row] ** 2 - speed[first] ** 2) / way,
                    mean,
                    float(np.trapezoid(speed[inside] ** 3)) / seconds / mean**3,
                    *(float(one[row] - one[first]) for one in late_m),
                )
            )
            first = row
    return found


def _bad(speed: Series, power_w: Series) -> NDArray[np.bool_]:
    """Return where the rider is slow, brakes or rests for long."""
    rests = power_w < PEDALLED_W
    falls = -np.diff(speed, append=speed[-1])
    bad = (speed < SLOWEST_M_PER_S) | ((falls > BRAKING_M_PER_S2) & rests)
    edges = np.flatnonzero(np.diff(np.concatenate(([False], rests, [False])).astype(int)))
    for start, end in edges.reshape(-1, 2):
        if end - start >= RESTING_S:
            bad[start:end] = True
    return np.asarray(bad, dtype=np.bool_)
