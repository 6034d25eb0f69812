"""Lesson 5: selector and throttle request power, the place limits it."""

from collections.abc import Callable
from dataclasses import dataclass
from itertools import accumulate

from firmware.records import Outputs
from host_sim.bikes.model import Bike
from host_sim.bikes.settings_of import most_power_w
from host_sim.lab.branching import Branch, ride_to
from host_sim.lab.checking import Check, check_all
from host_sim.lab.riding import Lines, lesson_bike
from host_sim.places.limits import load_place, load_places
from host_sim.plant.wheel_sensor import WheelSensor
from host_sim.report.samples import Samples
from host_sim.units import KM_PER_H_PER_M_PER_S

START_S, END_S = 1.3, 12.0
TOP_KM_PER_H = 36.0
ASKED_KM_PER_H = 15.0
MOTOR_MOST_W = 500.0
MAGNETS = (1.0 / 3.0, 2.0 / 3.0)  # Other places of the wheel's magnet, in pulses.
MARKS = 9  # How often the ride is copied midway to repeat its last part.
_SETTLING_KM_PER_H = 2.0
_BEYOND_KM_PER_H = 1.0  # A pulse later is 0.7 km/h more at walking pace, and less when faster.
_DRIVING_W = 20.0
OVER_LIMIT_MOST = 0.05  # As in the rule "continuous power": 1.05 times the power limit.
_SECOND = 100  # Samples of 10 ms.


@dataclass(frozen=True, slots=True)
class Levered:
    """The result of the ride on the roller: watts over speed. `asked_w`: at ASKED_KM_PER_H.

    `ends_found_km_per_h` are the speeds at which the last help ended, the first one that of the ride drawn;
    the others are from copies with the wheel's magnet elsewhere, since a speed is measured one pulse late.
    """

    place: str
    position: int
    throttle_percent: int
    pedalling: bool
    bike: Bike
    speed_km_per_h: list[float]
    wanted_w: list[float]
    allowed_w: list[float]
    power_w: list[float]
    asked_w: float
    ends_found_km_per_h: list[float]

    @property
    def ends_km_per_h(self) -> float | None:
        """The highest speed at which the last help ended; None if there was none."""
        return max(self.ends_found_km_per_h, default=None)

    @property
    def most_w(self) -> float:
        """The largest mean power over a second, in W: the limit is one on continuous power."""
        sums = list(accumulate(self.power_w, initial=0.0))
        return max((late - early) / _SECOND for early, late in zip(sums, sums[_SECOND:], strict=False))


def places_to_choose() -> dict[str, str]:
    """Return the titles of all place profiles and their names."""
    return {place.title: name for name, place in load_places().place.items()}


def try_levers(place: str, position: int, throttle_percent: int, pedalling: bool) -> Levered:
    """Let a roller turn the wheel from 0 to 36 km/h while the levers stay where they are.

    `position` 1 to 4 (0, 35, 70 and 100 %); the trike's motor is as strong as the place allows, up to 500 W.
    """
    rated_w = min(float(most_power_w(load_place(place))), MOTOR_MOST_W)
    bike = lesson_bike(
        {
            "place": place,
            "motor": {"rated_power_w": rated_w, "current_limit_a": 40.0},
            "motor_controller": {"battery_current_limit_a": 22.0},
            "settings": {
                "cutoff_distance_mm": 2000,
                "rise_mv_per_s": 4000,
                "gain_uv_per_w": 6000,
                "integral_ms": 40,
            },
        }
    )
    ramp_s = END_S - START_S - 0.2
    levers = {"selector_position": position, "throttle_percent": throttle_percent}
    # The levers are moved a moment before the wheel turns, so that only the speed changes afterwards.
    lines: Lines = [
        {"at_s": 0, "cadence_rpm": 0, "crank_free": True, "roller_km_per_h": 0},
        {"at_s": START_S - 0.1, "cadence_rpm": 65 if pedalling else 0, **levers},
        {"at_s": START_S, "over_s": ramp_s, "roller_km_per_h": TOP_KM_PER_H},
    ]
    trunk = ride_to(bike, lines, START_S, [Samples()])
    marks = []
    for number in range(1, MARKS):
        trunk.ride_on(START_S + ramp_s * number / MARKS)
        marks.append(trunk.copy())
    trunk.ride_on(END_S)
    samples: Samples = trunk.watches[0]
    begun = next(at for at, time_s in enumerate(samples.time_s) if time_s >= START_S)
    power_w = samples.power_w[begun:]
    speed_km_per_h = samples.speed_km_per_h[begun:]
    asked = next(at for at, speed in enumerate(speed_km_per_h) if speed >= ASKED_KM_PER_H)
    return Levered(
        place, position, throttle_percent, pedalling, bike, speed_km_per_h,
        samples.wanted_w[begun:], samples.allowed_w[begun:], power_w, power_w[asked],
        _ends_km_per_h(bike, samples, marks),
    )  # fmt: skip


def _ends_km_per_h(bike: Bike, samples: Samples, marks: list[Branch]) -> list[float]:
    """Return where help ended, for other places of the wheel's magnet too; nothing if there was no help."""
    drawn = _last_help_km_per_h(samples)
    if drawn is None:
        return []
    found = [drawn]
    before = [
        mark
        for mark in marks
        if mark.world.bicycle.speed_m_per_s * KM_PER_H_PER_M_PER_S < drawn - _SETTLING_KM_PER_H
    ]
    for share in MAGNETS if before else ():
        branch = before[-1] if share == MAGNETS[-1] else before[-1].copy()
        per_rev, around_m = bike.wheel_sensor.pulses_per_rev, bike.bicycle.wheel_circumference_m
        moved_m = branch.world.bicycle.distance_m + share * around_m / per_rev
        branch.world.wheel_sensor = WheelSensor(per_rev, around_m, moved_m)
        beyond_m_per_s = (drawn + _BEYOND_KM_PER_H) / KM_PER_H_PER_M_PER_S
        branch.ride_on(END_S, over=_faster(branch, beyond_m_per_s))
        ended = _last_help_km_per_h(branch.watches[0])
        found += [] if ended is None else [ended]
    return found


def _faster(branch: Branch, m_per_s: float) -> Callable[[Outputs], bool]:
    """Return a test of whether a branch has become faster than this."""
    return lambda _: branch.world.bicycle.speed_m_per_s > m_per_s


def _last_help_km_per_h(samples: Samples) -> float | None:
    """Return the highest speed with more power than a motor draws that turns without load."""
    pairs = zip(samples.time_s, samples.speed_km_per_h, samples.power_w, strict=True)
    return max((speed for at, speed, w in pairs if at >= START_S and w > _DRIVING_W), default=None)


def check_levers(tried: Levered) -> Check:
    """Check whether the throttle alone drives at 15 km/h."""
    return check_all(
        [
            (not tried.pedalling, "stop pedalling"),
            (tried.throttle_percent > 0, "open the throttle"),
            (
                tried.asked_w > _DRIVING_W,
                f"at {ASKED_KM_PER_H:g} km/h the motor gives {tried.asked_w:.0f} W here",
            ),
        ],
        f"It gives {tried.asked_w:.0f} W at {ASKED_KM_PER_H:g} km/h. A place profile is only a starting "
        "point: check your local code.",
    )
