"""Estimates the rider's power and braking from recorded speed with the road-load equation.

The force that moved the bicycle is computed for each second: road load at that speed and grade plus mass
times acceleration (Martin et al. 1998, as in the plant). The motor's force is subtracted. Without a power
meter the rest above zero is the riders'. Where it is clearly below zero, and nobody pushed the pedals, it is
braking: the recording slows faster than the road explains. Wind is unknown and assumed to be zero, so a
single second may be far off; all values derived from this are called estimated.
"""

from dataclasses import dataclass, field

from host_sim.plant.bicycle import Bicycle

SMOOTH_S = 3
STANDING_M_PER_S = 0.3
POWER_MOST_W = 2137.0  # The highest within one turn that Martin, Wagner and Coyle measured (1997).
MOTOR_EFFICIENCY = 0.75  # From battery to rim, of a hub motor at usual speed: common practice, no source.
CADENCE_RPM = 65.0  # If none is recorded; the least tiring one (MacIntosh et al. 2000, see `course`).
POWER_LEAST_W = 10.0  # Less is due to noise in the speed; the legs rest.
# A grade that is 1 % wrong slows by half of this, and needs no brakes. Judgement.
BRAKING_LEAST_M_PER_S2 = 0.2
PUSHING_W = 30.0  # Riders who push this hard do not brake: a head wind slowed the recording. Judgement.


@dataclass(frozen=True, slots=True)
class Road:
    """The bicycle of a recording, and how many people pedal it, each of them as recorded."""

    bicycle: Bicycle
    riders: int = 1


@dataclass(slots=True)
class Effort:
    """Entry i of each list holds from second i to i + 1, for all riders together."""

    rider_power_w: list[float] = field(default_factory=list)
    braking: list[bool] = field(default_factory=list)


def estimated_effort(
    speed_m_per_s: list[float],
    grade: list[float],
    battery_w: list[float],
    rider_power_w: list[float] | None,
    road: Road,
) -> Effort:
    """Return the effort in each second; all lists have equal lengths.

    `speed_m_per_s` is `smoothed`. `rider_power_w` is that of all riders by a power meter, None without one.
    """
    effort = Effort()
    bicycle = road.bicycle
    mass_kg = 2.0 * bicycle.kinetic_energy_j(1.0)
    for second, speed in enumerate(speed_m_per_s):
        after = speed_m_per_s[min(second + 1, len(speed_m_per_s) - 1)]
        mean = 0.5 * (speed + after)
        motor_n = MOTOR_EFFICIENCY * battery_w[second] / max(mean, 1.0)
        force_n = mass_kg * (after - speed) + bicycle.road_load_n(mean, grade[second], 0.0) - motor_n
        # pedal_power_w is the road load's over the chain's efficiency: the same chain for this force.
        level_w = bicycle.pedal_power_w(mean, 0.0, 0.0)
        chain = bicycle.road_load_n(mean, 0.0, 0.0) * mean / level_w if level_w > 0.0 else 1.0
        standing = speed < STANDING_M_PER_S and after < STANDING_M_PER_S
        power_w = min(max(force_n, 0.0) * mean / chain, POWER_MOST_W * road.riders)
        if rider_power_w is not None:
            power_w = rider_power_w[second]
            force_n -= power_w * chain / max(mean, 1.0)
        elif standing or power_w < POWER_LEAST_W:
            power_w = 0.0
        effort.rider_power_w.append(power_w)
        pushing = rider_power_w is not None and power_w > PUSHING_W * road.riders
        braking = force_n < -BRAKING_LEAST_M_PER_S2 * mass_kg and not pushing
        effort.braking.append(braking and not standing)
    return effort


def cadence_for(rider_power_w: list[float]) -> list[float]:
    """Return a usual cadence wherever there is power, for a recording without cadence."""
    return [CADENCE_RPM if power_w > 0.0 else 0.0 for power_w in rider_power_w]


def smoothed(values: list[float]) -> list[float]:
    """Return the mean over SMOOTH_S seconds around each; a standing second stays standing."""
    half = SMOOTH_S // 2
    smooth = []
    for place, value in enumerate(values):
        window = values[max(place - half, 0) : place + half + 1]
        smooth.append(0.0 if value < STANDING_M_PER_S else sum(window) / len(window))
    return smooth
