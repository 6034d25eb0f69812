"""Extra rides of a sweep: the unchanged bike, and each key changed alone.

The unchanged bike is ridden repeatedly, shifted at random and with other noise: the differences between these
rides are noise, and a measure that differs no more between points counts as flat.
"""

from dataclasses import dataclass

from host_sim.bikes.model import Bike
from host_sim.sweeping.points import Axis, Points

REPEATS = 16
KEYS_MOST = 4  # Slices are drawn of so many keys at most.
STEPS_MOST = 13


@dataclass(frozen=True, slots=True)
class Beside:
    """Changes to the bike, seed and shift (`ride_script`) of the ride, and whether it is a repetition."""

    values: dict[str, float]
    seed: int
    shift: float
    repeats: bool


def own_value(bike: Bike, name: str) -> float:
    """Return the bike's own value of a full key."""
    section, key = name.split(".")
    holder = bike.firmware_settings if section == "settings" else getattr(bike, section)
    return float(getattr(holder, key))


def beside(bike: Bike, points: Points, seed: int) -> list[Beside]:
    """Return the extra rides for these points, those of the unchanged bike first."""
    rides = [Beside({}, seed + number, number / REPEATS, number > 0) for number in range(REPEATS)]
    for axis in points.axes[:KEYS_MOST]:
        rides += [Beside({axis.key.name: value}, seed, 0.0, False) for value in _along(bike, axis)]
    return rides


def _along(bike: Bike, axis: Axis) -> list[float]:
    """Return up to STEPS_MOST different values from end to end, and the bike's own between them."""
    steps = STEPS_MOST if axis.steps < 2 else min(axis.steps, STEPS_MOST)
    line = Axis(axis.key, axis.low, axis.high, steps)
    values = {line.at(step) for step in range(steps)}
    own = own_value(bike, axis.key.name)
    return sorted(values | {own} if axis.low <= own <= axis.high else values)
