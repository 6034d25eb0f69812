"""Finds which number of the bike file, with another value in its interval, would explain the difference."""

from collections.abc import Callable
from dataclasses import dataclass, replace

from host_sim.bikes.model import Bike
from host_sim.comparing.difference import drive_misses, road_misses
from host_sim.comparing.drive_alone import drive_alone
from host_sim.comparing.measured import Measured
from host_sim.comparing.road_alone import coasting, road_alone
from host_sim.measuring.intervals import ALIKE_ON_THE_ROAD, DRIVE, ROAD, WHEEL_PULSES, Interval, Number

OF_ROAD = ROAD + ALIKE_ON_THE_ROAD
NAMED_SHARE = 0.2  # Of the squared error; numbers that explain less are not named.
ALIKE_SHARE = 0.05  # Numbers whose shares of the error differ by less than this can't be distinguished.
GRID = 6
REFINED = 8
SMALL_ERROR = 0.5  # Mean square in units of noise: below this there is nothing to explain.

Error = Callable[[Bike], float]
Progress = Callable[[str], None]


@dataclass(frozen=True, slots=True)
class Cause:
    """`value` of the number, within its interval, would remove `share` (0 to 1) of the squared error.

    `at_end`: it is at an end of the interval, and a value beyond that would explain more. `alike`: this log
    can't distinguish the number from the one that explains most.
    """

    number: Number
    file_value: float
    value: float
    interval: Interval
    share: float
    at_end: bool
    alike: bool = True

    def as_json(self) -> dict[str, float | str | bool]:
        """Return the entry of `treadle compare --json`."""
        return {
            "number": self.number.name,
            "unit": self.number.unit,
            "file": self.file_value,
            "explains": float(f"{self.value:.4g}"),
            "low": float(f"{self.interval.low:.4g}"),
            "high": float(f"{self.interval.high:.4g}"),
            "measured": self.interval.measured,
            "share_of_squared_error": round(self.share, 3),
            "at_the_end_of_its_interval": self.at_end,
            "not_distinguished_from_the_first": self.alike,
        }


@dataclass(frozen=True, slots=True)
class Causes:
    """The causes of the difference. Errors are mean squares in units of noise; `road_error` may be None.

    That is if the bicycle never coasts.
    """

    road_error: float | None
    drive_error: float
    named: list[Cause]

    @property
    def slope_or_wind(self) -> bool:
        """Whether the speed is wrong while coasting, and no number within its interval explains that."""
        of_road = any(one.number in OF_ROAD for one in self.named)
        return self.road_error is not None and self.road_error >= SMALL_ERROR and not of_road

    @property
    def not_distinguished(self) -> list[list[Cause]]:
        """The groups of two or more causes that explain the same error equally well."""
        groups = [
            [one for one in self.named if one.alike and (one.number in OF_ROAD) == road]
            for road in (True, False)
        ]
        return [group for group in groups if len(group) > 1]


def find_causes(
    bike: Bike,
    ride: Measured,
    known: dict[Number, Interval],
    progress: Progress = lambda words: None,
) -> Causes:
    """Return the causes worth naming: of the road, then of the drive, each time the largest share first.

    `known`: the interval of each number; `progress` gets the words of each number before it is tried.
    """
    stretches = coasting(ride)

    def road(changed: Bike) -> float:
        seen, scale = _seen_by(changed, ride)
        return road_misses(road_alone(changed, seen, stretches) / scale, ride)

    def drive(changed: Bike) -> float:
        return drive_misses(drive_alone(changed, _seen_by(changed, ride)[0]), ride)

    drive_error, named = _explained(bike, drive, (*DRIVE, WHEEL_PULSES), known, progress)
    if not stretches:
        return Causes(None, drive_error, named)
    road_error, of_road = _explained(bike, road, OF_ROAD, known, progress)
    return Causes(road_error, drive_error, of_road + named)


def _seen_by(bike: Bike, ride: Measured) -> tuple[Measured, float]:
    """Return the ride with the speed that its pulses mean on this bike, and the ratio to the board's."""
    settings = ride.settings
    board_m = settings.wheel_circumference_mm * 1e-3 / settings.wheel_pulses_per_rev
    scale = bike.bicycle.wheel_circumference_m / bike.wheel_sensor.pulses_per_rev / board_m
    return replace(ride, speed_m_per_s=ride.speed_m_per_s * scale), scale


def _explained(
    bike: Bike, error: Error, numbers: tuple[Number, ...], known: dict[Number, Interval], progress: Progress
) -> tuple[float, list[Cause]]:
    """Return the error with the bike file's numbers, and which of them explain it."""
    plain = error(bike)
    if plain < SMALL_ERROR:
        return plain, []
    found = []
    for number in numbers:
        progress(number.words)
        if number is WHEEL_PULSES:
            found.append(_whole_cause(bike, number, plain, error))
        else:
            found.append(_cause(bike, number, known[number], plain, error))
    named = sorted((one for one in found if one.share >= NAMED_SHARE), key=lambda one: -one.share)
    return plain, [replace(one, alike=named[0].share - one.share <= ALIKE_SHARE) for one in named]


def _whole_cause(bike: Bike, number: Number, plain: float, error: Error) -> Cause:
    """Find the count with the least error among those that are easily confused."""
    count = round(number.of(bike))
    others = sorted({count - 1, count + 1, count // 2, 2 * count} - {0, count})
    errors = {other: error(number.changed(bike, other)) for other in others}
    best = min(errors, key=lambda other: errors[other])
    interval = Interval(float(others[0]), float(others[-1]), measured=False)
    return Cause(number, float(count), float(best), interval, 1.0 - errors[best] / plain, at_end=False)


def _cause(bike: Bike, number: Number, interval: Interval, plain: float, error: Error) -> Cause:
    """Find the value in the interval with the least error: on a grid, then around the best point."""
    from scipy.optimize import minimize_scalar

    tried = {number.of(bike): plain}

    def error_at(value: float) -> float:
        tried[float(value)] = error(number.changed(bike, float(value)))
        return tried[float(value)]

    width = interval.high - interval.low
    for place in range(GRID + 1):
        error_at(interval.low + width * place / GRID)
    best = min(tried, key=lambda value: tried[value])
    around = (max(best - width / GRID, interval.low), min(best + width / GRID, interval.high))
    minimize_scalar(error_at, bounds=around, method="bounded", options={"maxiter": REFINED})
    best = min(tried, key=lambda value: tried[value])
    at_end = min(best - interval.low, interval.high - best) < 0.01 * width
    return Cause(number, number.of(bike), best, interval, 1.0 - tried[best] / plain, at_end)
