"""Chooses the engage thresholds for a ring and its rider by evaluating each candidate on rides."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass

from firmware.settings import FIRST_PITCH_EDGES, TWO_CHANNELS
from host_sim.bikes.model import Bike
from host_sim.rules.stopping import STEADY_ABOVE_ENGAGE, ring_can_show_rpm
from host_sim.tuning.engage_rides import EngageMeasures, EngageRides
from host_sim.tuning.score import Priority, engage_score
from host_sim.tuning.spread import AS_GOOD, Spread, nearest, spread_of
from host_sim.tuning.variant import NOTHING_FIXED

ENGAGE_RPM = (*range(10, 31), 32, 34, 36, 38, 40)
RELEASE_BELOW_RPM = 2  # The release cadence is at least this far below the engage cadence.
ENGAGE_TURNS_MOST = 0.3  # Help that comes later than after a third of a turn is no help at starting.
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
    bike: Bike, priority: Priority, seed: int = 1, kept: Mapping[str, int] = NOTHING_FIXED
) -> EngageChoice:
    """Return edges and cadence with the least score over all draws, and what single draws would recommend.

    Edges and cadence that `kept` names have the value there; the cadence is above a kept release cadence.
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
