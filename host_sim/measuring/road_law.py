"""How a coasting bicycle slows: the closed form of the road-load equation, a tangent law.

With -dv/dt = c0 + c1 v + c2 v^2, q^2 = 4 c0 c2 - c1^2 and u = 2 c2 v + c1, the solution is
u(t) = q tan(atan(u0 / q) - q t / 2). If q^2 is negative (wind or slope outweigh rolling), the same formula
holds in complex numbers. Method of fitting it to coast-downs: Candau and others, Med. Sci. Sports
Exerc. 31 (1999) 1441 (abstract read).
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from host_sim.plant.bicycle import GRAVITY_M_PER_S2

BEARING_N = 0.091  # Wheel bearings, Martin et al. 1998, as in the plant.
BEARING_N_S_PER_M = 0.0087
_TINY = 1e-9


@dataclass(frozen=True, slots=True)
class Masses:
    """Known values: total mass, inertia of the wheels over their radius squared, density of the air."""

    total_kg: float
    wheel_kg: float
    air_density_kg_per_m3: float

    @property
    def inertial_kg(self) -> float:
        """The mass that is accelerated, including the rotation of the wheels."""
        return self.total_kg + self.wheel_kg


def coasting_speed(
    masses: Masses,
    crr: float,
    cda_m2: float,
    head_wind_m_per_s: NDArray[np.float64],
    grade: NDArray[np.float64],
    start_m_per_s: NDArray[np.float64],
    time_s: NDArray[np.float64],
) -> NDArray[np.float64]:
    """Return the speed `time_s` after `start_m_per_s`, while the air flow is from the front.

    The four arrays have equal lengths: all samples of all runs are computed at once.
    """
    drag = 0.5 * masses.air_density_kg_per_m3 * cda_m2
    along = np.sqrt(1.0 + grade * grade)
    constant_n = (
        masses.total_kg * GRAVITY_M_PER_S2 * (crr + grade) / along
        + BEARING_N
        + drag * head_wind_m_per_s * head_wind_m_per_s
    )
    c0 = constant_n / masses.inertial_kg
    c1 = (BEARING_N_S_PER_M + 2.0 * drag * head_wind_m_per_s) / masses.inertial_kg
    c2 = max(drag, _TINY) / masses.inertial_kg
    q = np.sqrt((4.0 * c0 * c2 - c1 * c1).astype(np.complex128) + _TINY * _TINY)
    u0 = 2.0 * c2 * start_m_per_s + c1
    u = q * np.tan(np.arctan(u0 / q) - 0.5 * q * time_s)
    return np.asarray((u.real - c1) / (2.0 * c2), dtype=np.float64)
