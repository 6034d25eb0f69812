"""Engage and release thresholds for a ring and its rider, chosen by what a ride makes of every candidate."""

from dataclasses import dataclass

from firmware.settings import FIRST_PITCH_EDGES, TWO_CHANNELS
from host_sim.bikes.model import Bike
from host_sim.rules.stopping import ring_can_show_rpm
from host_sim.tuning.engage_rides import EngageMeasures, EngageRide
from host_sim.tuning.release_rides import SLOW_ABOVE_ENGAGE, ReleaseMeasures, ride_release
from host_sim.tuning.score import Priority, engage_score, release_score
from host_sim.tuning.variant import with_settings

ENGAGE_RPM = (10, 12, 15, 18, 20, 22, 25, 28, 30, 35, 40)
ENGAGE_TURNS_MOST = 0.3  # Help that comes later than after a third of a turn is no help at starting.
# Nearer than this and steady pedalling at the threshold hunts (the rule "no hunting at the thresholds").
RELEASE_SHARES = (0.3, 0.4, 0.5, 0.6, 0.7, 0.8)
STOP_PITCH_PERCENT = (100, 115, 130, 145, 160, 180, 200, 250, 300)
STEADY_ABOVE_ENGAGE = 1.33
SWINGING_LEGS = 1.08
EDGES_PER_PULSE = {TWO_CHANNELS: 4}
RELEASE_LEAST_RPM = 4


@dataclass(frozen=True, slots=True)
class EngagePoint:
    """One candidate of the engage curve."""

    engage_edges: int
    engage_rpm: int
    measures: EngageMeasures
    score: float


@dataclass(frozen=True, slots=True)
class ReleasePoint:
    """One candidate of the release curve."""

    release_rpm: int
    stop_pitch_percent: int
    measures: ReleaseMeasures
    score: float


@dataclass(frozen=True, slots=True)
class EngageChoice:
    """The chosen point; the curve over the edges at its cadence, and over the cadence at its edges."""

    chosen: EngagePoint
    over_edges: list[EngagePoint]
    over_rpm: list[EngagePoint]


@dataclass(frozen=True, slots=True)
class ReleaseChoice:
    """The chosen point; the curves over release cadence and share of the pitch; `slowest_rpm` ridden."""

    chosen: ReleasePoint
    over_rpm: list[ReleasePoint]
    over_percent: list[ReleasePoint]
    slowest_rpm: float


def least_edges(bike: Bike) -> int:
    """Return the edges that a first measured pitch takes, the fewest that may be asked for."""
    return FIRST_PITCH_EDGES[bike.firmware_settings.sensor_kind]


def least_engage_rpm(bike: Bike) -> float:
    """Return the cadence below which this ring can't keep help up to the taper without a lapse, rpm.

    The rule "steady help" promises it from a third above the engage cadence on; legs swing a little about
    that.
    """
    return ring_can_show_rpm(bike) * SWINGING_LEGS / STEADY_ABOVE_ENGAGE


def edge_candidates(bike: Bike) -> list[int]:
    """Return numbers of engage edges from the fewest that count up to ENGAGE_TURNS_MOST of a turn."""
    settings = bike.firmware_settings
    per_turn = settings.pulses_per_rev * EDGES_PER_PULSE.get(settings.sensor_kind, 2)
    most = min(max(round(per_turn * ENGAGE_TURNS_MOST), least_edges(bike) + 2), 128)
    return list(range(least_edges(bike), most + 1))


def choose_engage(bike: Bike, priority: Priority, seed: int = 1) -> EngageChoice:
    """Return edges and cadence with the least score; of equals, the fewer edges and the lower cadence."""
    ride = EngageRide(bike, seed)
    floor_rpm = least_engage_rpm(bike)
    rpms = [rpm for rpm in ENGAGE_RPM if rpm >= floor_rpm] or [ENGAGE_RPM[-1]]

    def point(edges: int, rpm: int) -> EngagePoint:
        measures = ride.measures(edges, rpm)
        return EngagePoint(edges, rpm, measures, engage_score(measures, priority))

    edges_range = edge_candidates(bike)
    best = min(
        (point(edges, rpm) for edges in edges_range for rpm in rpms),
        key=lambda one: (round(one.score, 6), one.engage_edges, one.engage_rpm),
    )
    # The same score may come with a higher cadence: take the middle of what is as good, it is the safest
    # place.
    level = [rpm for rpm in rpms if point(best.engage_edges, rpm).score <= best.score + 0.02]
    chosen = point(best.engage_edges, level[len(level) // 2])
    return EngageChoice(
        chosen,
        [point(edges, chosen.engage_rpm) for edges in edges_range],
        [point(chosen.engage_edges, rpm) for rpm in ENGAGE_RPM],
    )


def choose_release(bike: Bike, engage_rpm: int, seed: int = 1) -> ReleaseChoice:
    """Return release cadence and share of the pitch with the least score, for a given engage cadence."""
    slowest_rpm = SLOW_ABOVE_ENGAGE * engage_rpm
    rpms = sorted({max(round(share * engage_rpm), RELEASE_LEAST_RPM) for share in RELEASE_SHARES})
    percent = bike.firmware_settings.stop_pitch_percent
    first = _ridden(bike, engage_rpm, [(rpm, percent) for rpm in rpms], slowest_rpm, seed)
    rpm = _best(first).release_rpm
    second = _ridden(bike, engage_rpm, [(rpm, some) for some in STOP_PITCH_PERCENT], slowest_rpm, seed)
    percent = _best(second).stop_pitch_percent
    near = sorted(
        {min(max(rpm + step, RELEASE_LEAST_RPM), engage_rpm - 2) for step in range(-3, 4)} | set(rpms)
    )
    third = _ridden(bike, engage_rpm, [(some, percent) for some in near], slowest_rpm, seed)
    chosen = _best([*second, *third])
    return ReleaseChoice(chosen, third, second, slowest_rpm)


def _best(points: list[ReleasePoint]) -> ReleasePoint:
    """Return the least score; of equals the one that gives the legs the most time."""
    return min(points, key=lambda one: (round(one.score, 4), one.release_rpm, -one.stop_pitch_percent))


def _ridden(
    bike: Bike, engage_rpm: int, pairs: list[tuple[int, int]], slowest_rpm: float, seed: int
) -> list[ReleasePoint]:
    tried = [
        with_settings(
            bike, {"engage_rpm": engage_rpm, "release_rpm": rpm, "stop_pitch_percent": percent}
        ).firmware_settings
        for rpm, percent in pairs
    ]
    measured = ride_release(bike, tried, slowest_rpm, seed)
    return [
        ReleasePoint(rpm, percent, measures, release_score(measures))
        for (rpm, percent), measures in zip(pairs, measured, strict=True)
    ]
