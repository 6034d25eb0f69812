"""A bicycle on a road: its resistance and its speed.

Air, rolling, slope and bearings after Martin, Milliken, Cobb, McFadden and Coggan, "Validation of
a mathematical model for road cycling power", J. Appl. Biomech. 14 (1998) 276-291. The wind is the
head wind along the road; side wind and cornering are left out.

The bicycle never rolls backward: if the force is too weak to move it forward, it stands, as if the rider put
a foot down. So on a slope that would let it roll back it stays at zero.
"""

from math import pi, sqrt

from host_sim.plant.limits import require

GRAVITY_M_PER_S2 = 9.80665  # Standard acceleration of free fall, 3rd CGPM (1901).


class Bicycle:
    """Speed and distance from the force at the wheel rim."""

    __slots__ = (
        "_bearing_n",
        "_bearing_n_s_per_m",
        "_brake_deceleration_m_per_s2",
        "_chain_efficiency",
        "_drag_n_s2_per_m2",
        "_grade",
        "_inertial_mass_kg",
        "_rolling_coefficient",
        "_slope_n",
        "_weight_n",
        "distance_m",
        "speed_m_per_s",
    )

    def __init__(
        self,
        mass_kg: float,
        drag_area_m2: float,
        rolling_coefficient: float,
        wheel_circumference_m: float,
        wheel_inertia_kg_m2: float,
        brake_deceleration_m_per_s2: float,
        air_density_kg_per_m3: float = 1.2,
        chain_efficiency: float = 0.976,
        bearing_n: float = 0.091,
        bearing_n_s_per_m: float = 0.0087,
    ) -> None:
        """Stand at distance 0; a value out of range raises ValueError.

        `mass_kg` (10 to 1000) is bicycle, rider and load together; `wheel_inertia_kg_m2` (0 to 10) is
        that of all wheels together. `drag_area_m2` (0.05 to 5) includes the spokes. Full brakes slow
        the bicycle by `brake_deceleration_m_per_s2` (0.1 to 12). The two bearing terms are 91 mN and
        8.7 mN per m/s in Martin et al. 1998. With an `air_density_kg_per_m3` of 0 there is no air resistance.
        """
        mass_kg = require("mass_kg", mass_kg, 10.0, 1000.0, "kg")
        area_m2 = require("drag_area_m2", drag_area_m2, 0.05, 5.0, "m2")
        rolling = require("rolling_coefficient", rolling_coefficient, 0.0, 0.1)
        around_m = require("wheel_circumference_m", wheel_circumference_m, 0.3, 4.0, "m")
        inertia_kg_m2 = require("wheel_inertia_kg_m2", wheel_inertia_kg_m2, 0.0, 10.0, "kg m2")
        brake = require("brake_deceleration_m_per_s2", brake_deceleration_m_per_s2, 0.1, 12.0, "m/s2")
        density = require("air_density_kg_per_m3", air_density_kg_per_m3, 0.0, 2.0, "kg/m3")
        self._chain_efficiency = require("chain_efficiency", chain_efficiency, 0.5, 1.0)
        self._bearing_n = require("bearing_n", bearing_n, 0.0, 10.0, "N")
        self._bearing_n_s_per_m = require("bearing_n_s_per_m", bearing_n_s_per_m, 0.0, 1.0, "N s/m")
        self._weight_n = mass_kg * GRAVITY_M_PER_S2
        self._rolling_coefficient = rolling
        self._drag_n_s2_per_m2 = 0.5 * density * area_m2
        # A turning wheel counts twice: m + I / r^2 (Martin et al. 1998, kinetic energy term).
        self._inertial_mass_kg = mass_kg + inertia_kg_m2 * (2.0 * pi / around_m) ** 2
        self._brake_deceleration_m_per_s2 = brake
        self.speed_m_per_s = 0.0
        self.distance_m = 0.0
        self._set_grade(0.0)

    def _set_grade(self, grade: float) -> None:
        """Store rolling and slope force of this grade, so that a step needs no square root."""
        along = sqrt(1.0 + grade * grade)
        self._grade = grade
        self._slope_n = self._weight_n * (self._rolling_coefficient + grade) / along

    def road_load_n(self, speed_m_per_s: float, grade: float, wind_m_per_s: float) -> float:
        """Return the force that slows the rolling bicycle, N; negative when the slope drives it.

        `grade` is rise over run (0.05 for 5 %), head wind is positive.
        """
        if grade != self._grade:
            self._set_grade(grade)
        air_m_per_s = speed_m_per_s + wind_m_per_s
        return (
            self._slope_n
            + self._bearing_n
            + self._bearing_n_s_per_m * speed_m_per_s
            + self._drag_n_s2_per_m2 * air_m_per_s * abs(air_m_per_s)
        )

    def pedal_power_w(self, speed_m_per_s: float, grade: float, wind_m_per_s: float) -> float:
        """Return the power at the pedals that keeps this speed without a motor, W (Martin et al. 1998)."""
        return self.road_load_n(speed_m_per_s, grade, wind_m_per_s) * speed_m_per_s / self._chain_efficiency

    def brake_share_for(self, deceleration_m_per_s2: float, grade: float, wind_m_per_s: float) -> float:
        """Return how far to pull the brakes, 0 to 1, so that they and the road slow the bicycle so fast."""
        road_m_per_s2 = self.road_load_n(self.speed_m_per_s, grade, wind_m_per_s) / self._inertial_mass_kg
        share = (deceleration_m_per_s2 - road_m_per_s2) / self._brake_deceleration_m_per_s2
        return min(max(share, 0.0), 1.0)

    def kinetic_energy_j(self, speed_m_per_s: float) -> float:
        """Return the kinetic energy, rotating wheels included, J (Martin et al. 1998)."""
        return 0.5 * self._inertial_mass_kg * speed_m_per_s * speed_m_per_s

    def step(
        self, drive_n: float, brake_share: float, grade: float, wind_m_per_s: float, elapsed_s: float
    ) -> None:
        """Advance by `elapsed_s` with a constant force at the rim and brakes pulled by 0 to 1.

        Second order in `elapsed_s`: one linearly implicit step (Rosenbrock, one stage, gamma 1/2), which
        needs the road load once and stays stable at any step.
        """
        if grade != self._grade:
            self._set_grade(grade)
        speed_m_per_s = self.speed_m_per_s
        air_m_per_s = speed_m_per_s + wind_m_per_s
        damping_n_s_per_m = self._drag_n_s2_per_m2 * abs(air_m_per_s)
        load_n = (
            self._slope_n
            + self._bearing_n
            + self._bearing_n_s_per_m * speed_m_per_s
            + damping_n_s_per_m * air_m_per_s
        )
        slope_n_s_per_m = damping_n_s_per_m + damping_n_s_per_m + self._bearing_n_s_per_m
        mass_kg = self._inertial_mass_kg
        force_n = drive_n - load_n - brake_share * self._brake_deceleration_m_per_s2 * mass_kg
        gain_m_per_s = force_n * elapsed_s / (mass_kg + 0.5 * elapsed_s * slope_n_s_per_m)
        after_m_per_s = speed_m_per_s + gain_m_per_s
        if after_m_per_s > 0.0:
            self.distance_m += 0.5 * (speed_m_per_s + after_m_per_s) * elapsed_s
            self.speed_m_per_s = after_m_per_s
        elif speed_m_per_s > 0.0:
            # It stops inside this step: only the part of the step until then covers ground.
            self.distance_m += 0.5 * speed_m_per_s * elapsed_s * speed_m_per_s / -gain_m_per_s
            self.speed_m_per_s = 0.0
