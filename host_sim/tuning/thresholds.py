"""Chooses engage and release thresholds for a ring and its rider by evaluating each candidate on rides."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from types import MappingProxyType

from firmware.settings import FIRST_PITCH_EDGES, TWO_CHANNELS
from host_sim.bikes.model import Bike
from host_sim.rules.stopping import STEADY_ABOVE_ENGAGE, distance_limit_m, ring_can_show_rpm
from host_sim.tuning.engage_rides import EngageMeasures, EngageRides
from host_sim.tuning.release_course import PARTS
from host_sim.tuning.release_rides import ReleaseMeasures, ReleaseRides, pooled
from host_sim.tuning.ride_start import RELEASE_LEAST_RPM
from host_sim.tuning.score import Priority, engage_score, release_score, sound_score
from host_sim.tuning.spread import Spread, balance_point, nearest, spread_of
from host_sim.tuning.stop_rides import way_with_wheel_lost_m
from host_sim.tuning.variant import with_settings

ENGAGE_RPM = (*range(10, 31), 32, 34, 36, 38, 40)
AS_GOOD = 0.05  # Scores this near to each other are taken as the same.
STAYS = 0.1  # What gains less than this is not worth a change: a tenth of what most riders call fine.
RELEASE_BELOW_RPM = 2  # By how much at least the release cadence is below the engage cadence.
ENGAGE_TURNS_MOST = 0.3  # Help that comes later than after a third of a turn is no help at starting.
# Closer than this, steady pedalling at the threshold hunts (the rule "no hunting at the thresholds").
RELEASE_SHARES = (0.3, 0.4, 0.5, 0.6, 0.7, 0.8)
STOP_PITCH_PERCENT = (*range(100, 200, 10), 200, 220, 250)
PATIENT_PERCENT = 160
NEAR_RPM = 3
NEAR_PERCENT = 20
SWINGING_LEGS = 1.08
EDGES_PER_PULSE = {TWO_CHANNELS: 4}
NOTHING_KEPT: Mapping[str, int] = MappingProxyType({})


@dataclass(frozen=True, slots=True)
class EngagePoint:
    """One candidate of the engage curve."""

    engage_edges: int
    engage_rpm: int
    measures: EngageMeasures
    score: float


EngageScorer = Callable[[int, int], EngagePoint]


@dataclass(frozen=True, slots=True)
class ReleasePoint:
    """One candidate of the release curve."""

    release_rpm: int
    stop_pitch_percent: int
    measures: ReleaseMeasures
    score: float


@dataclass(frozen=True, slots=True)
class EngageChoice:
    """The chosen point; the curve over the edges at its cadence, and over the cadence at its edges.

    `spreads` by setting: what single draws of the rides recommend. `before_keeping`: what would be chosen
    if no setting had to keep its value.
    """

    chosen: EngagePoint
    over_edges: list[EngagePoint]
    over_rpm: list[EngagePoint]
    spreads: dict[str, Spread]
    before_keeping: EngagePoint


@dataclass(frozen=True, slots=True)
class ReleaseChoice:
    """The chosen point, and `sound`, the one that would be chosen if no ring ever had a flaw.

    The curves over release cadence and share of the pitch; `slowest_rpm` ridden; what no setting cures.
    `before_keeping`: what would be chosen if no setting had to keep its value.
    """

    chosen: ReleasePoint
    sound: ReleasePoint
    over_rpm: list[ReleasePoint]
    over_percent: list[ReleasePoint]
    slowest_rpm: float
    incurable_per_min: float
    spreads: dict[str, Spread]
    before_keeping: ReleasePoint


def least_edges(bike: Bike) -> int:
    """Return the edges that a first measured pitch needs, the fewest that may be required."""
    return FIRST_PITCH_EDGES[bike.firmware_settings.sensor_kind]


def least_engage_rpm(bike: Bike) -> float:
    """Return the cadence in rpm below which help lapses with this ring at speeds up to the taper.

    The rule "steady help" requires it from a third above the engage cadence; legs vary a little about that.
    """
    return ring_can_show_rpm(bike) * SWINGING_LEGS / STEADY_ABOVE_ENGAGE


def edge_candidates(bike: Bike) -> list[int]:
    """Return numbers of engage edges from the fewest that count up to ENGAGE_TURNS_MOST of a turn."""
    settings = bike.firmware_settings
    per_turn = settings.pulses_per_rev * EDGES_PER_PULSE.get(settings.sensor_kind, 2)
    most = min(max(round(per_turn * ENGAGE_TURNS_MOST), least_edges(bike) + 2), 128)
    return list(range(least_edges(bike), most + 1))


def choose_engage(
    bike: Bike, priority: Priority, seed: int = 1, kept: Mapping[str, int] = NOTHING_KEPT
) -> EngageChoice:
    """Return edges and cadence with the least score over all draws, and what single draws would recommend.

    What `kept` names of edges and cadence has that value; the cadence is above a kept release cadence.
    """
    rides = EngageRides(bike, seed)
    edges_range = edge_candidates(bike)
    floor_rpm = least_engage_rpm(bike)
    rpms = [rpm for rpm in ENGAGE_RPM if rpm >= floor_rpm] or [ENGAGE_RPM[-1]]
    point = _scored(rides.measures, priority)
    free, flat = _best_engage(bike, point, edges_range, rpms)
    edges_left = [kept["engage_edges"]] if "engage_edges" in kept else edges_range
    above_rpm = kept.get("release_rpm", 0) + RELEASE_BELOW_RPM
    rpms_left = [rpm for rpm in rpms if rpm >= above_rpm] or [above_rpm - RELEASE_BELOW_RPM + 1]
    rpms_left = [kept["engage_rpm"]] if "engage_rpm" in kept else rpms_left
    chosen = _best_engage(bike, point, edges_left, rpms_left)[0] if kept else free
    each = [_scored(ride.measures, priority) for ride in rides.rides]
    alone = [_best_engage(bike, one, edges_range, rpms)[0] for one in each]
    return EngageChoice(
        chosen,
        [point(edges, chosen.engage_rpm) for edges in edges_range],
        [point(chosen.engage_edges, rpm) for rpm in ENGAGE_RPM],
        {
            "engage_edges": spread_of([one.engage_edges for one in alone]),
            "engage_rpm": spread_of([one.engage_rpm for one in alone], flat),
        },
        free,
    )


def _scored(measured: Callable[[int, int], EngageMeasures], priority: Priority) -> EngageScorer:
    """Return the function that gives a point for edges and cadence."""

    def point(edges: int, rpm: int) -> EngagePoint:
        measures = measured(edges, rpm)
        return EngagePoint(edges, rpm, measures, engage_score(measures, priority))

    return point


def _best_engage(
    bike: Bike, point: EngageScorer, edges_range: list[int], rpms: list[int]
) -> tuple[EngagePoint, list[int]]:
    """Return a point as good as the best, and the cadences that are as good with its edges.

    Of all that is as good the cadence nearest to the present one; with it the present edges if they are as
    good too, else those with the least score, of equal ones the fewest.
    """
    now = bike.firmware_settings
    points = [point(edges, rpm) for edges in edges_range for rpm in rpms]
    least = min(one.score for one in points)
    level = [one for one in points if one.score <= least + AS_GOOD]
    rpm = nearest([one.engage_rpm for one in level], now.engage_rpm)
    chosen = min(
        (one for one in level if one.engage_rpm == rpm),
        key=lambda one: (one.engage_edges != now.engage_edges, round(one.score, 6), one.engage_edges),
    )
    return chosen, [one.engage_rpm for one in level if one.engage_edges == chosen.engage_edges]


def safe_percents(bike: Bike) -> list[int]:
    """Return the shares of the pitch that stop help within the place's distance without a wheel sensor too.

    A longer gap fails in the fault matrix ("wheel: lost, open or stuck", coasting).
    """
    limit_m = distance_limit_m(bike)
    safe = [some for some in STOP_PITCH_PERCENT if way_with_wheel_lost_m(bike, some) <= limit_m]
    return safe or [STOP_PITCH_PERCENT[0]]


def choose_release(
    bike: Bike, engage_rpm: int, rides: ReleaseRides, kept: Mapping[str, int] = NOTHING_KEPT
) -> ReleaseChoice:
    """Return release cadence and share of the pitch with the least score, for a given engage cadence.

    What `kept` names of the two has that value.
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
    # A ring that is and stays sound is best off with the shortest gap, so its search begins there.
    for some in rpms:
        point(some, STOP_PITCH_PERCENT[0])
        for other in percents:
            if abs(other - percent) <= NEAR_PERCENT:
                point(some, other)
    if now.release_rpm <= highest_rpm and now.stop_pitch_percent in percents:
        point(now.release_rpm, now.stop_pitch_percent)
    for some in percents:  # Whatever was ridden near another cadence, the gap is chosen among all of them.
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

    Below the shortest the score rises within a step or two, above it by less than luck does: so the middle,
    the least score and the upper end would all depend on the draw of the rides.
    """
    least = min(one.score for one in points)
    level = {one.stop_pitch_percent: one for one in points if one.score <= least + STAYS}
    return level.get(present, level[min(level)])


def _best(bike: Bike, points: list[ReleasePoint]) -> ReleasePoint:
    """Return the present settings if they are as good as any; else the middle of the cadences, and `_gap`.

    Each cadence has the weight that its score leaves it.
    """
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
