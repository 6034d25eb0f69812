"""Chooses engage and release thresholds for a ring and its rider by evaluating each candidate on rides."""

from collections.abc import Callable
from dataclasses import dataclass

from firmware.settings import FIRST_PITCH_EDGES, TWO_CHANNELS
from host_sim.bikes.model import Bike
from host_sim.rules.stopping import distance_limit_m, ring_can_show_rpm
from host_sim.tuning.engage_rides import EngageMeasures, EngageRides
from host_sim.tuning.release_course import PARTS
from host_sim.tuning.release_rides import ReleaseMeasures, ReleaseRides, pooled
from host_sim.tuning.ride_start import RELEASE_LEAST_RPM
from host_sim.tuning.score import Priority, engage_score, release_score, sound_score
from host_sim.tuning.spread import Spread, spread_of
from host_sim.tuning.stop_rides import way_with_wheel_lost_m
from host_sim.tuning.variant import with_settings

ENGAGE_RPM = (*range(10, 31), 32, 34, 36, 38, 40)
AS_GOOD = 0.05  # Scores this close count as equal.
ENGAGE_TURNS_MOST = 0.3  # Help that comes later than after a third of a turn is no help at starting.
# Closer than this, steady pedalling at the threshold hunts (the rule "no hunting at the thresholds").
RELEASE_SHARES = (0.3, 0.4, 0.5, 0.6, 0.7, 0.8)
STOP_PITCH_PERCENT = (*range(100, 200, 10), 200, 220, 250)
PATIENT_PERCENT = 160
STEADY_ABOVE_ENGAGE = 1.33
SWINGING_LEGS = 1.08
EDGES_PER_PULSE = {TWO_CHANNELS: 4}


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

    `spreads` by setting: what single draws of the rides recommend.
    """

    chosen: EngagePoint
    over_edges: list[EngagePoint]
    over_rpm: list[EngagePoint]
    spreads: dict[str, Spread]


@dataclass(frozen=True, slots=True)
class ReleaseChoice:
    """The chosen point, and `sound`, the one that would be chosen if no ring ever had a flaw.

    The curves over release cadence and share of the pitch; `slowest_rpm` ridden; what no setting cures.
    """

    chosen: ReleasePoint
    sound: ReleasePoint
    over_rpm: list[ReleasePoint]
    over_percent: list[ReleasePoint]
    slowest_rpm: float
    incurable_per_min: float
    spreads: dict[str, Spread]


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


def choose_engage(bike: Bike, priority: Priority, seed: int = 1) -> EngageChoice:
    """Return edges and cadence with the least score over all draws, and what single draws would recommend."""
    rides = EngageRides(bike, seed)
    edges_range = edge_candidates(bike)
    floor_rpm = least_engage_rpm(bike)
    rpms = [rpm for rpm in ENGAGE_RPM if rpm >= floor_rpm] or [ENGAGE_RPM[-1]]
    point = _scored(rides.measures, priority)
    chosen = _best_engage(point, edges_range, rpms)
    alone = [_best_engage(_scored(ride.measures, priority), edges_range, rpms) for ride in rides.rides]
    return EngageChoice(
        chosen,
        [point(edges, chosen.engage_rpm) for edges in edges_range],
        [point(chosen.engage_edges, rpm) for rpm in ENGAGE_RPM],
        {
            "engage_edges": spread_of([one.engage_edges for one in alone]),
            "engage_rpm": spread_of([one.engage_rpm for one in alone]),
        },
    )


def _scored(measured: Callable[[int, int], EngageMeasures], priority: Priority) -> EngageScorer:
    """Return the function that gives a point for edges and cadence."""

    def point(edges: int, rpm: int) -> EngagePoint:
        measures = measured(edges, rpm)
        return EngagePoint(edges, rpm, measures, engage_score(measures, priority))

    return point


def _best_engage(point: EngageScorer, edges_range: list[int], rpms: list[int]) -> EngagePoint:
    """Return the least score; of equals, the fewer edges, and the middle of the cadences."""
    best = min(
        (point(edges, rpm) for edges in edges_range for rpm in rpms),
        key=lambda one: (round(one.score, 6), one.engage_edges, one.engage_rpm),
    )
    # Over a wide range the cadence hardly changes the score; its middle is the safest choice.
    level = [rpm for rpm in rpms if point(best.engage_edges, rpm).score <= best.score + AS_GOOD]
    return point(best.engage_edges, level[len(level) // 2])


def safe_percents(bike: Bike) -> list[int]:
    """Return the shares of the pitch that stop help within the place's distance without a wheel sensor too.

    A longer gap fails in the fault matrix ("wheel: lost, open or stuck", coasting).
    """
    limit_m = distance_limit_m(bike)
    safe = [some for some in STOP_PITCH_PERCENT if way_with_wheel_lost_m(bike, some) <= limit_m]
    return safe or [STOP_PITCH_PERCENT[0]]


def choose_release(bike: Bike, engage_rpm: int, rides: ReleaseRides) -> ReleaseChoice:
    """Return release cadence and share of the pitch with the least score, for a given engage cadence."""
    ride = rides.for_engage(engage_rpm)
    found: dict[tuple[int, int], list[ReleasePoint]] = {}

    def point(rpm: int, percent: int) -> ReleasePoint:
        """Return the point for the whole rides; `found` stores it, followed by one for each part."""
        if (rpm, percent) not in found:
            tried = {"engage_rpm": engage_rpm, "release_rpm": rpm, "stop_pitch_percent": percent}
            parts = ride.parts(with_settings(bike, tried).firmware_settings)
            each = [pooled(parts), *parts]
            found[rpm, percent] = [ReleasePoint(rpm, percent, one, release_score(one)) for one in each]
        return found[rpm, percent][0]

    shares = sorted({max(round(share * engage_rpm), RELEASE_LEAST_RPM) for share in RELEASE_SHARES})
    percents = safe_percents(bike)
    rpm = _best([point(some, min(PATIENT_PERCENT, percents[-1])) for some in shares]).release_rpm
    over_percent = [point(rpm, some) for some in percents]
    percent = _best(over_percent).stop_pitch_percent
    near = {min(max(rpm + step, RELEASE_LEAST_RPM), engage_rpm - 2) for step in range(-3, 4)}
    over_rpm = [point(some, percent) for some in sorted(near | set(shares))]
    # For a ring that stays sound the shortest gap is best, so the search begins there.
    for some in sorted(near | set(shares)):
        point(some, STOP_PITCH_PERCENT[0])
    whole, *parts = ([points[index] for points in found.values()] for index in range(PARTS + 1))
    sound = min(whole, key=lambda one: (round(sound_score(one.measures), 4), -one.stop_pitch_percent))
    alone = [_best(points) for points in parts]
    spreads = {
        "release_rpm": spread_of([one.release_rpm for one in alone]),
        "stop_pitch_percent": spread_of([one.stop_pitch_percent for one in alone]),
    }
    return ReleaseChoice(
        _best(whole),
        sound,
        over_rpm,
        over_percent,
        ride.slowest_rpm,
        ride.incurable_per_min,
        spreads,
    )


def _best(points: list[ReleasePoint]) -> ReleasePoint:
    """Return the middle of the points that are as good as the least score, ordered by patience."""
    least = min(one.score for one in points)
    level = [one for one in points if one.score <= least + AS_GOOD]
    level.sort(key=lambda one: (-one.release_rpm, one.stop_pitch_percent))
    rpm = level[len(level) // 2].release_rpm
    same = [one for one in level if one.release_rpm == rpm]
    return same[len(same) // 2]
