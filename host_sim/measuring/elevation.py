"""Rolling coefficient and drag area from a ride with a power meter, by the balance of energy and elevation.

Between two moments the rider's work through the chain equals the losses in air, rolling and bearings plus the
change of kinetic and potential energy (Martin et al. 1998). It is linear in both unknowns. Stretches with
braking are left out, because braking would count as drag. The motor must be off; no wind is assumed.
"""

import numpy as np

from host_sim.measuring.estimate import Estimate, NotEnoughError, half_width
from host_sim.measuring.log import Log, Series
from host_sim.measuring.road_law import BEARING_N, BEARING_N_S_PER_M, Masses
from host_sim.plant.bicycle import GRAVITY_M_PER_S2

STRETCH_S = 60.0
SLOWEST_M_PER_S = 2.0
GAP_MOST_S = 5.0
BRAKING_M_PER_S2 = 0.5  # Without pedalling; except uphill the road alone seldom slows a bicycle more.
BLOCKS = 10
STRETCHES_LEAST = 20
SPREAD_LEAST = 0.15  # Of the mean cubed speeds; at one speed air and rolling can't be separated.
SHARED = 2
_KINETIC = 0.5


class RideFit:
    """`crr` and `cda_m2`, and for each stretch its middle, measured and computed climb, m."""

    __slots__ = ("cda_m2", "climb_m", "computed_climb_m", "crr", "middle_s")

    def __init__(
        self, crr: Estimate, cda_m2: Estimate, middle_s: Series, climb_m: Series, computed_climb_m: Series
    ) -> None:
        """Store the result."""
        self.crr = crr
        self.cda_m2 = cda_m2
        self.middle_s = middle_s
        self.climb_m = climb_m
        self.computed_climb_m = computed_climb_m


def fit_rides(logs: list[Log], masses: Masses, chain_efficiency: float) -> RideFit:
    """Return both numbers from all rides together; NotEnoughError says what is missing."""
    rows = [row for log in logs for row in _stretches(log, masses, chain_efficiency)]
    if len(rows) < STRETCHES_LEAST:
        raise NotEnoughError(
            f"{len(rows)} stretches of {STRETCH_S:g} s without brakes, pauses or standing, "
            f"at least {STRETCHES_LEAST} are needed"
        )
    table = np.array(rows)
    air = table[:, 2] / table[:, 1]
    if np.std(air) < SPREAD_LEAST * np.mean(air):
        raise NotEnoughError(
            "the speed hardly changes over the ride, so air and rolling resistance can't be separated"
        )
    crr, cda_m2 = _solve(table)
    without_crr, without_cda = [], []
    for block in np.array_split(np.arange(len(table)), BLOCKS):
        again = _solve(np.delete(table, block, axis=0))
        without_crr.append(again[0])
        without_cda.append(again[1])
    weight_n = masses.total_kg * GRAVITY_M_PER_S2
    left_over = table[:, 3] - table[:, 1] * crr - table[:, 2] * cda_m2
    return RideFit(
        Estimate(crr, half_width(without_crr, SHARED), ""),
        Estimate(cda_m2, half_width(without_cda, SHARED), "m2"),
        table[:, 0],
        table[:, 4],
        table[:, 4] + left_over / weight_n,
    )


def _solve(table: Series) -> tuple[float, float]:
    """Least squares in energy; an outlier (a brake that was not detected) counts only linearly."""
    from scipy.optimize import least_squares

    scale_j = max(float(np.median(np.abs(table[:, 3]))) * 0.2, 1.0)

    def misses(unknowns: Series) -> Series:
        return np.asarray((table[:, 3] - table[:, 1:3] @ unknowns) / scale_j, dtype=np.float64)

    found = [
        least_squares(misses, start, loss="soft_l1", bounds=((0.0, 0.0), (0.1, 3.0)), x_scale=(0.005, 0.3))
        for start in ((0.006, 0.5), (0.02, 1.0), (0.002, 0.2))
    ]
    best = min(found, key=lambda one: float(one.cost))
    return float(best.x[0]), float(best.x[1])


def _stretches(log: Log, masses: Masses, efficiency: float) -> list[tuple[float, float, float, float, float]]:
    """Return for each stretch middle, work of rolling and air per unit coefficient, the rest, and climb."""
    time_s, speed, altitude_m, power_w = log.rows_with(
        "time_s", "speed_m_per_s", "altitude_m", "rider_power_w"
    )
    if not len(time_s):
        return []
    step_s = np.diff(time_s, append=time_s[-1])
    falls = -np.diff(speed, append=speed[-1]) / np.maximum(step_s, 0.1)
    bad = (speed < SLOWEST_M_PER_S) | (step_s > GAP_MOST_S) | ((falls > BRAKING_M_PER_S2) & (power_w < 20.0))
    found = []
    first = 0
    for row in range(len(time_s)):
        if bad[row]:
            first = row + 1
        elif time_s[row] - time_s[first] >= STRETCH_S:
            found.append(_balance(first, row, (time_s, speed, altitude_m, power_w), masses, efficiency))
            first = row
    return found


def _balance(
    first: int, last: int, columns: tuple[Series, ...], masses: Masses, efficiency: float
) -> tuple[float, float, float, float, float]:
    time_s, speed, altitude_m, power_w = (column[first : last + 1] for column in columns)
    way_m = float(np.trapezoid(speed, time_s))
    climb_m = float(altitude_m[-1] - altitude_m[0])
    work_j = efficiency * float(np.trapezoid(power_w, time_s))
    motion_j = _KINETIC * masses.inertial_kg * float(speed[-1] ** 2 - speed[0] ** 2)
    bearings_j = BEARING_N * way_m + BEARING_N_S_PER_M * float(np.trapezoid(speed**2, time_s))
    weight_n = masses.total_kg * GRAVITY_M_PER_S2
    air_j = 0.5 * masses.air_density_kg_per_m3 * float(np.trapezoid(speed**3, time_s))
    rest_j = work_j - motion_j - bearings_j - weight_n * climb_m
    return 0.5 * float(time_s[0] + time_s[-1]), weight_n * way_m, air_j, rest_j, climb_m
