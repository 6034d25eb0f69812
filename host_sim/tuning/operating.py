"""Operating points: at which speeds, states of charge and loads the power loop has to work."""

from dataclasses import dataclass

from host_sim.bikes.model import Bike
from host_sim.bikes.power_loop_of import back_emf_v, motor_current_a
from host_sim.units import KM_PER_H_PER_M_PER_S

# Of the speed at which power begins to fade. Below the lowest, motors run at their current limit.
SPEED_SHARES = (0.45, 0.7, 1.0)
CHARGES = (0.2, 1.0)
LOADS = (0.3, 1.0)
LEGS_W = 75.0  # What a healthy adult can give all day (Malewicki 1983, in oocities.org/mdetting).
_GRAVITY_M_PER_S2 = 9.80665
_AIR_KG_PER_M3 = 1.2


@dataclass(frozen=True, slots=True)
class OperatingPoint:
    """Speed in m/s, charge 0 to 1, and load: the requested share of the assist power."""

    speed_m_per_s: float
    charge: float
    load: float

    def words(self, bike: Bike) -> str:
        """Return where a rider meets this point, as in "at 12 km/h up 4 % on a full battery"."""
        battery = "full" if self.charge > 0.8 else "low" if self.charge < 0.35 else "half-full"
        power = "full power" if self.load > 0.8 else "a third of the power"
        where = _slope_words(grade_of(bike, self))
        speed_km_per_h = self.speed_m_per_s * KM_PER_H_PER_M_PER_S
        return f"at {speed_km_per_h:.0f} km/h {where} at {power} on a {battery} battery"


def _slope_words(grade: float) -> str:
    if grade > 0.01:
        return f"going uphill ({100.0 * grade:.0f} %)"
    return "on the level" if grade > -0.01 else "going downhill"


def operating_points(bike: Bike) -> list[OperatingPoint]:
    """Return every combination of SPEED_SHARES, CHARGES and LOADS for this bicycle."""
    taper_m_per_s = bike.firmware_settings.taper_start_mm_per_s / 1000.0
    return [
        OperatingPoint(share * taper_m_per_s, charge, load)
        for share in SPEED_SHARES
        for charge in CHARGES
        for load in LOADS
    ]


def grade_of(bike: Bike, point: OperatingPoint) -> float:
    """Return the grade (rise over run, approximately) on which motor and a steady rider hold this speed.

    Rolling and air by Martin et al. 1998; the motor's only loss considered is that of its winding.
    """
    bicycle = bike.bicycle
    speed_m_per_s = point.speed_m_per_s
    drawn_w = bike.firmware_settings.assist_power_w * point.load
    power_w = LEGS_W * bicycle.chain_efficiency + motor_shaft_w(bike, drawn_w, speed_m_per_s)
    air_n = 0.5 * _AIR_KG_PER_M3 * bicycle.drag_area_m2 * speed_m_per_s**2
    weight_n = bicycle.mass_kg * _GRAVITY_M_PER_S2
    return (power_w / speed_m_per_s - air_n) / weight_n - bicycle.rolling_coefficient


def motor_shaft_w(bike: Bike, drawn_w: float, speed_m_per_s: float) -> float:
    """Return the mechanical watts from `drawn_w` electrical ones: E (I - I0), where E I + R I^2 is drawn."""
    current_a = min(motor_current_a(bike, drawn_w, speed_m_per_s), bike.motor.current_limit_a)
    return max(back_emf_v(bike, speed_m_per_s) * (current_a - bike.motor.no_load_current_a), 0.0)
