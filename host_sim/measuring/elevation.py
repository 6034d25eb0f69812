"""Rolling coefficient and drag area from a ride with a power meter, by the balance of energy and elevation.

On each stretch the rider's work through the chain equals the losses in air, rolling and bearings plus the
change of kinetic and potential energy (Martin et al. 1998). Power and climb give the speed on the stretch
without wind, and the fit compares speeds, not energies: wind changes the measured speed, and with it the loss
in air that an energy balance would compute, so that the drag area would be too small. The motor must be off.
Stretches with braking are left out, because braking would count as drag.

Wind lasts, so neighbouring errors are correlated. From each error the part that the one before it predicts is
subtracted (Cochrane and Orcutt, J. Am. Stat. Assoc. 44 (1949) 32; from memory). The altimeter's lag is fitted
too.
"""

from dataclasses import dataclass

import numpy as np

from host_sim.measuring.estimate import Estimate, NotEnoughError, half_width
from host_sim.measuring.least_squares import Misses, Search
from host_sim.measuring.log import Log, Series
from host_sim.measuring.ride_stretches import LAGS_S, WAY_M, Stretches, stretches
from host_sim.measuring.road_law import BEARING_N, BEARING_N_S_PER_M, Masses
from host_sim.plant.bicycle import GRAVITY_M_PER_S2

BLOCKS = 10
STRETCHES_LEAST = 15
SPREAD_LEAST = 0.15  # Of the mean squared speeds; at one speed air and rolling can't be separated.
SHARED = 2
ALIKE = 0.5  # Correlation of the wind on neighbouring stretches: 1 would be the same wind. Judgement.
USUAL_M_PER_S = 0.5  # Errors above this count linearly only: undetected braking, a halt.
# Drift of an altimeter by air pressure during a ride due to weather (standard uncertainty): 0.2 hPa.
DRIFT_M = 1.7
# Rolling, drag area, and the altimeter's lag, s.
STARTS = tuple((*pair, lag_s) for pair in ((0.005, 0.4), (0.02, 1.0)) for lag_s in (1.5, 4.5, 7.5))
# Noise may give values below zero; such a result is refused, not cut off.
SEARCH = Search((-0.02, 0.02, LAGS_S[0]), (0.1, 3.0, LAGS_S[-1]), (0.005, 0.3, 2.0), robust=True)
SOUGHT = "speeds and hills of the ride don't separate air from rolling resistance"
_NEWTON_STEPS = 8
_SLOWEST_M_PER_S = 0.05


@dataclass(frozen=True, slots=True)
class RideFit:
    """`crr`, `cda_m2` and the altimeter's lag; for each stretch its middle, climbs and residual speed."""

    crr: Estimate
    cda_m2: Estimate
    lag_s: float
    middle_s: Series
    climb_m: Series
    computed_climb_m: Series
    residual_m_per_s: Series


def fit_rides(logs: list[Log], masses: Masses, chain_efficiency: float) -> RideFit:
    """Return both numbers from all rides together; NotEnoughError says what is missing."""
    found = stretches(logs, masses, chain_efficiency)
    if len(found) < STRETCHES_LEAST:
        raise NotEnoughError(
            f"{len(found)} stretches of {WAY_M:g} m without brakes, pauses or rests of 3 s, "
            f"at least {STRETCHES_LEAST} are needed"
        )
    air = found.shape * found.speed_m_per_s**2
    if np.std(air) < SPREAD_LEAST * np.mean(air):
        raise NotEnoughError(
            "the speed hardly changes over the ride, so air and rolling resistance can't be separated"
        )
    best = SEARCH.from_starts(_misses_of(found, masses), STARTS, SOUGHT, first=2)
    crr, cda_m2 = float(best[0]), float(best[1])
    if crr <= 0.0 or cda_m2 <= SEARCH.lowest[1]:
        raise NotEnoughError(
            "the best fit has no rolling resistance or no air resistance: wind, a wrong mass or a power "
            "meter that was not set to zero outweighs them"
        )
    without_crr, without_cda = [], []
    for block in np.array_split(np.arange(len(found)), BLOCKS):
        _, again = SEARCH.run(_misses_of(found.without(block), masses), best)
        without_crr.append(float(again[0]))
        without_cda.append(float(again[1]))
    climb_m = found.climb_after_m(float(best[2]))
    drift = half_width_of_drift(found)
    left_over_n = _missing_n(best, found, masses)
    return RideFit(
        Estimate(crr, float(np.hypot(half_width(without_crr, SHARED), drift)), ""),
        Estimate(cda_m2, half_width(without_cda, SHARED), "m2"),
        float(best[2]),
        found.middle_s,
        climb_m,
        climb_m + left_over_n * found.way_m / (masses.total_kg * GRAVITY_M_PER_S2),
        found.speed_m_per_s - _computed(best, found, masses),
    )


def half_width_of_drift(found: Stretches) -> float:
    """Return half the interval of the rolling coefficient that is due to the altimeter's drift.

    A drift looks like a slope in all parts of the ride, so leaving out parts can't show it.
    """
    return 1.96 * DRIFT_M / float(np.sum(found.way_m))


def _misses_of(found: Stretches, masses: Masses) -> Misses:
    return lambda unknowns: _misses(unknowns, found, masses)


def _misses(unknowns: Series, found: Stretches, masses: Masses) -> Series:
    misses = (found.speed_m_per_s - _computed(unknowns, found, masses)) / USUAL_M_PER_S
    misses[1:] -= ALIKE * misses[:-1]
    return np.asarray(misses, dtype=np.float64)


def _law(unknowns: Series, found: Stretches, masses: Masses) -> tuple[Series, Series]:
    """Return the forces (N) on each stretch that don't depend on its speed, and the factor of its square."""
    weight_n = masses.total_kg * GRAVITY_M_PER_S2
    climb_m = found.climb_after_m(float(unknowns[2]))
    constant_n = weight_n * (unknowns[0] + climb_m / found.way_m) + BEARING_N + found.gain_n
    return constant_n, 0.5 * masses.air_density_kg_per_m3 * unknowns[1] * found.shape


def _computed(unknowns: Series, found: Stretches, masses: Masses) -> Series:
    """Return the speed v with air v^3 + bearings v^2 + constant v = power, by Newton's method from above."""
    constant_n, air = _law(unknowns, found, masses)
    speed = np.cbrt(found.wheel_w / air) + np.sqrt(np.maximum(-constant_n, 0.0) / air) + _SLOWEST_M_PER_S
    for _ in range(_NEWTON_STEPS):
        over = ((air * speed + BEARING_N_S_PER_M) * speed + constant_n) * speed - found.wheel_w
        steep = (3.0 * air * speed + 2.0 * BEARING_N_S_PER_M) * speed + constant_n
        speed = speed - over / np.maximum(steep, 1e-3)
    return np.asarray(np.maximum(speed, _SLOWEST_M_PER_S), dtype=np.float64)


def _missing_n(unknowns: Series, found: Stretches, masses: Masses) -> Series:
    """Return the force (N) that remains in the balance at the measured speed on each stretch."""
    constant_n, air = _law(unknowns, found, masses)
    speed = found.speed_m_per_s
    return np.asarray(found.wheel_w / speed - constant_n - (air * speed + BEARING_N_S_PER_M) * speed)
