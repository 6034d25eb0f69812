"""Estimates the rider's power and braking from recorded speed with the road-load equation.

If a recording has speed but no power meter, the driving force is computed for each second: road load at that
speed and grade plus mass times acceleration (Martin et al. 1998, as in the plant). The motor's force is
subtracted. A force below zero is braking. Wind is unknown and assumed to be zero, so a single second may be
far off; all values derived from this are called estimated.
"""

from host_sim.plant.bicycle import Bicycle

SMOOTH_S = 3
STANDING_M_PER_S = 0.3
POWER_MOST_W = 2137.0  # The highest within one turn that Martin, Wagner and Coyle measured (1997).
MOTOR_EFFICIENCY = 0.75  # From battery to rim, of a hub motor at usual speed: common practice, no source.
CADENCE_RPM = 65.0  # If none is recorded; the least tiring one (MacIntosh et al. 2000, see `course`).
POWER_LEAST_W = 10.0  # Less is due to noise in the speed; the legs rest.


class Effort:
    """Entry i of each list holds from second i to i + 1: power of the riders, share of the brakes, place."""

    __slots__ = ("brake_share", "place_m", "rider_power_w")

    def __init__(self) -> None:
        """Start empty."""
        self.rider_power_w: list[float] = []
        self.brake_share: list[float] = []
        self.place_m: list[float] = []


def estimated_effort(
    speed_m_per_s: list[float],
    grade: list[float],
    battery_w: list[float],
    paused: list[bool],
    bicycle: Bicycle,
    brake_deceleration_m_per_s2: float,
) -> Effort:
    """Return the effort in each second; all lists have equal lengths."""
    effort = Effort()
    smooth = _smoothed(speed_m_per_s)
    mass_kg = 2.0 * bicycle.kinetic_energy_j(1.0)
    place_m = 0.0
    for second, speed in enumerate(smooth):
        after = smooth[min(second + 1, len(smooth) - 1)]
        mean = 0.5 * (speed + after)
        effort.place_m.append(place_m)
        place_m += mean
        if paused[second] or (speed_m_per_s[second] < STANDING_M_PER_S and after < STANDING_M_PER_S):
            effort.rider_power_w.append(0.0)
            effort.brake_share.append(1.0)
            continue
        motor_n = MOTOR_EFFICIENCY * battery_w[second] / max(mean, 1.0)
        force_n = mass_kg * (after - speed) + bicycle.road_load_n(mean, grade[second], 0.0) - motor_n
        # pedal_power_w is the road load's over the chain's efficiency: the same chain for this force.
        level_w = bicycle.pedal_power_w(mean, 0.0, 0.0)
        chain = bicycle.road_load_n(mean, 0.0, 0.0) * mean / level_w if level_w > 0.0 else 1.0
        power_w = min(max(force_n, 0.0) * mean / chain, POWER_MOST_W)
        effort.rider_power_w.append(power_w if power_w >= POWER_LEAST_W else 0.0)
        share = -force_n / (mass_kg * brake_deceleration_m_per_s2)
        effort.brake_share.append(min(max(share, 0.0), 1.0))
    return effort


def cadence_for(rider_power_w: list[float]) -> list[float]:
    """Return a usual cadence wherever there is power, for a recording without cadence."""
    return [CADENCE_RPM if power_w > 0.0 else 0.0 for power_w in rider_power_w]


def _smoothed(values: list[float]) -> list[float]:
    """Return the mean over SMOOTH_S seconds around each; a standing second stays standing."""
    half = SMOOTH_S // 2
    smooth = []
    for place, value in enumerate(values):
        window = values[max(place - half, 0) : place + half + 1]
        smooth.append(0.0 if value < STANDING_M_PER_S else sum(window) / len(window))
    return smooth
