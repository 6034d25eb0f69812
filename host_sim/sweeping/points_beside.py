"""Rides beside the points of a sweep: the bike as it is, and each key alone with all others as on the bike.

The bike as it is goes again and again under what may change nothing, shifted by chance and with other noise:
what differs between these rides is noise, and a measure that differs no more between points does not move.
"""

from dataclasses import dataclass

from host_sim.bikes.model import Bike
from host_sim.sweeping.points import Axis, Points

REPEATS = 16
KEYS_MOST = 4  # Of so many keys the slices are drawn.
STEPS_MOST = 13


@dataclass(frozen=True, slots=True)
class Beside:
    """What is other than on the bike, seed and shift (`ride_script`) of the ride, and whether it repeats."""

    values: dict[str, float]
    seed: int
    shift: float
    repeats: bool


def own_value(bike: Bike, name: str) -> float:
    """Return what the bike itself has for a full key."""
    section, key = name.split(".")
    holder = bike.firmware_settings if section == "settings" else getattr(bike, section)
    return float(getattr(holder, key))


def beside(bike: Bike, points: Points, seed: int) -> list[Beside]:
    """Return the rides beside these points, the bike as it is first."""
    rides = [Beside({}, seed + number, number / REPEATS, number > 0) for number in range(REPEATS)]
    for axis in points.axes[:KEYS_MOST]:
        rides += [Beside({axis.key.name: value}, seed, 0.0, False) for value in _along(bike, axis)]
    return rides


def _along(bike: Bike, axis: Axis) -> list[float]:
    """Return up to STEPS_MOST values from end to end, none twice, and the bike's own between them."""
    steps = STEPS_MOST if axis.steps < 2 else min(axis.steps, STEPS_MOST)
    line = Axis(axis.key, axis.low, axis.high, steps)
    values = {line.at(step) for step in range(steps)}
    own = own_value(bike, axis.key.name)
    return sorted(values | {own} if axis.low <= own <= axis.high else values)
