"""Chooses the release thresholds for a ring and its rider by evaluating each candidate on rides."""

from collections.abc import Mapping
from dataclasses import dataclass

from host_sim.bikes.model import Bike
from host_sim.rules.stopping import distance_limit_m
from host_sim.tuning.engage_thresholds import RELEASE_BELOW_RPM
from host_sim.tuning.release_course import PARTS
from host_sim.tuning.release_rides import ReleaseMeasures, ReleaseRides, pooled
from host_sim.tuning.ride_start import RELEASE_LEAST_RPM
from host_sim.tuning.score import release_score, sound_score
from host_sim.tuning.spread import AS_GOOD, Spread, balance_point, spread_of
from host_sim.tuning.stop_rides import way_with_wheel_lost_m
from host_sim.tuning.variant import NOTHING_FIXED, with_settings

STAYS = 0.1  # What gains less than this is not worth a change: a tenth of what most riders call fine.
# Closer than this, steady pedalling at the threshold hunts (the rule "no hunting at the thresholds").
RELEASE_SHARES = (0.3, 0.4, 0.5, 0.6, 0.7, 0.8)
STOP_PITCH_PERCENT = (*range(100, 200, 10), 200, 220, 250)
PATIENT_PERCENT = 160
NEAR_RPM = 3
NEAR_PERCENT = 20


@dataclass(frozen=True, slots=True)
class ReleasePoint:
    """One candidate of the release curve."""

    release_rpm: int
    stop_pitch_percent: int
    measures: ReleaseMeasures
    score: float


@dataclass(frozen=True, slots=True)
class ReleaseChoice:
    """The chosen point, and `sound`, the one that would be chosen if no ring ever had a flaw.

    `over_rpm` and `over_percent` are the curves over release cadence and share of the pitch; `slowest_rpm` is
    the cadence of the slowest legs ridden, `incurable_per_min` the lapses that no setting avoids. `spreads`
    and `before_keeping` as in `EngageChoice`.
    """

    chosen: ReleasePoint
    sound: ReleasePoint
    over_rpm: list[ReleasePoint]
    over_percent: list[ReleasePoint]
    slowest_rpm: float
    incurable_per_min: float
    spreads: dict[str, Spread]
    before_keeping: ReleasePoint


def safe_percents(bike: Bike) -> list[int]:
    """Return the shares of the pitch that stop help within the place's distance without a wheel sensor too.

    A longer gap fails in the fault matrix ("wheel: lost, open or stuck", coasting).
    """
    limit_m = distance_limit_m(bike)
    safe = [some for some in STOP_PITCH_PERCENT if way_with_wheel_lost_m(bike, some) <= limit_m]
    return safe or [STOP_PITCH_PERCENT[0]]


def choose_release(
    bike: Bike, engage_rpm: int, rides: ReleaseRides, kept: Mapping[str, int] = NOTHING_FIXED
) -> ReleaseChoice:
    """Return release cadence and share of the pitch with the least score, for a given engage cadence.

    Each of the two that `kept` names has the value there.
    """
    ride = rides.for_engage(engage_rpm)
    now = bike.firmware_settings
    found: dict[tuple[int, int], list[ReleasePoint]] = {}

    def point(rpm: int, percent: int) -> ReleasePoint:
        """Return the point for the whole rides; `found` stores it, followed by one for each part."""
        if (rpm, percent) not in found:
            tried = {"engage_rpm": engage_rpm, "release_rpm": rpm, "stop_pitch_percent": percent}
            parts = ride.parts(with_settings(bike, tried).firmware_settings)
            each = [pooled(parts), *parts]
            found[rpm, percent] = [ReleasePoint(rpm, percent, one, release_score(one)) for one in each]
        return found[rpm, percent][0]

    highest_rpm = max(engage_rpm - RELEASE_BELOW_RPM, RELEASE_LEAST_RPM)
    shares = sorted({max(round(share * engage_rpm), RELEASE_LEAST_RPM) for share in RELEASE_SHARES})
    percents = safe_percents(bike)
    patient = min(PATIENT_PERCENT, percents[-1])
    rpm = min((point(some, patient) for some in shares), key=lambda one: one.score).release_rpm
    percent = _gap(now.stop_pitch_percent, [point(rpm, some) for some in percents]).stop_pitch_percent
    near = range(max(rpm - NEAR_RPM, RELEASE_LEAST_RPM), min(rpm + NEAR_RPM, highest_rpm) + 1)
    rpms = sorted({*near, min(now.release_rpm, highest_rpm)})
    # A ring that stays sound does best with the shortest gap, so its search begins there.
    for some in rpms:
        point(some, STOP_PITCH_PERCENT[0])
        for other in percents:
            if abs(other - percent) <= NEAR_PERCENT:
                point(some, other)
    if now.release_rpm <= highest_rpm and now.stop_pitch_percent in percents:
        point(now.release_rpm, now.stop_pitch_percent)
    for some in percents:  # The gap is chosen among all of them, whichever cadence was ridden before.
        point(_best(bike, [points[0] for points in found.values()]).release_rpm, some)
    whole, *parts = ([points[index] for points in found.values()] for index in range(PARTS + 1))
    left = whole
    if "release_rpm" in kept or "stop_pitch_percent" in kept:
        rpms_left = [kept["release_rpm"]] if "release_rpm" in kept else rpms
        percents_left = [kept["stop_pitch_percent"]] if "stop_pitch_percent" in kept else percents
        left = [point(some, other) for some in rpms_left for other in percents_left]
    chosen = _best(bike, left)
    sound = min(left, key=lambda one: (round(sound_score(one.measures), 4), -one.stop_pitch_percent))
    alone = [_best(bike, points) for points in parts]
    over_rpm = [point(some, chosen.stop_pitch_percent) for some in rpms]
    over_percent = [point(chosen.release_rpm, some) for some in percents]
    return ReleaseChoice(
        chosen,
        sound,
        over_rpm,
        over_percent,
        ride.slowest_rpm,
        ride.incurable_per_min,
        {
            "release_rpm": spread_of(
                [one.release_rpm for one in alone], [one.release_rpm for one in _level(over_rpm)]
            ),
            "stop_pitch_percent": spread_of(
                [one.stop_pitch_percent for one in alone],
                [one.stop_pitch_percent for one in _level(over_percent)],
            ),
        },
        _best(bike, whole),
    )


def _level(points: list[ReleasePoint]) -> list[ReleasePoint]:
    """Return the points that are as good as the best of them."""
    least = min(one.score for one in points)
    return [one for one in points if one.score <= least + AS_GOOD]


def _gap(present: int, points: list[ReleasePoint]) -> ReleasePoint:
    """Return the present stop gap if it is as good as any, else the shortest that is.

    Below the shortest the score rises within a step or two, above it by less than it differs between draws of
    the rides: the middle, the least score and the upper end would all depend on the draw.
    """
    least = min(one.score for one in points)
    level = {one.stop_pitch_percent: one for one in points if one.score <= least + STAYS}
    return level.get(present, level[min(level)])


def _best(bike: Bike, points: list[ReleasePoint]) -> ReleasePoint:
    """Return the present settings if as good as any, else the mean cadence, weighed by score, and `_gap`."""
    now = bike.firmware_settings
    least = min(one.score for one in points)
    for one in points:
        as_now = (one.release_rpm, one.stop_pitch_percent) == (now.release_rpm, now.stop_pitch_percent)
        if as_now and one.score <= least + STAYS:
            return one
    best: dict[int, float] = {}
    for one in points:
        best[one.release_rpm] = min(one.score, best.get(one.release_rpm, one.score))
    rpm = balance_point(sorted(best), lambda some: best[some], AS_GOOD)
    return _gap(now.stop_pitch_percent, [one for one in points if one.release_rpm == rpm])
