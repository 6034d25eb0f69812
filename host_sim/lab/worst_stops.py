"""Predicts when pedalling must stop so that help lasts longest after the crank stands.

A duty-coded ring shows a pulse at its rising edge. Help lasts longest if the crank, slowing down, just
reaches such an edge: the firmware sees it late, and the pitch that it measures, of which the stop gap is a
share, is long. How slow the crank may become is limited by the duty: an edge whose pitch was high for less
than 9/16 of it shows no direction (`firmware/sense/crank.py`). The lesson then rides the predicted stops.
"""

from copy import deepcopy
from dataclasses import dataclass
from math import sqrt

from host_sim.bench.clock import CONTROL_PERIOD_S
from host_sim.lab.branching import Branch
from host_sim.plant.rider import LEG_ACCELERATION_RAD_PER_S2

_LONGEST_PITCH_OF_HIGH = 16.0 / 9.0


@dataclass(frozen=True, slots=True)
class WorstStop:
    """A stop that just reaches the rising edge at `edge_s` of steady riding; `run_on_s` as predicted."""

    run_on_s: float
    edge_s: float
    reached_before_s: float
    """How long before it stops the crank should reach the edge."""


def edges_ahead(branch: Branch, until_s: float) -> list[tuple[float, bool]]:
    """Return the edges of channel A if the crank keeps turning evenly: seconds, whether it rises."""
    rider, sensor = branch.world.rider, deepcopy(branch.world.pedal_sensor)
    elapsed_s = until_s - branch.now_s
    ahead_rad = rider.crank_rad + rider.crank_rad_per_s * elapsed_s
    count = sensor.advance(rider.crank_rad, ahead_rad, branch.now_s, elapsed_s)
    return [(sensor.edge_times_s[at], sensor.edge_levels[at] & 1 == 1) for at in range(count)]


def worst_stops(
    edges: list[tuple[float, bool]], from_s: float, rad_per_s: float, gap_share: float
) -> list[WorstStop]:
    """Return a stop for each pitch that ends after `from_s`, the longest run-on first.

    The crank turns steadily at `rad_per_s`; the stop gap is `gap_share` of a pitch.
    """
    stopping_s = rad_per_s / LEG_ACCELERATION_RAD_PER_S2
    rises = [place for place, (_, rose) in enumerate(edges) if rose]
    stops = []
    for before, rise, next_rise in zip(rises, rises[1:], rises[2:], strict=False):
        (before_s, _), (rise_s, _), (fall_s, _) = (edges[at] for at in (before, rise, rise + 1))
        edge_s = edges[next_rise][0]
        pitch_s = edge_s - rise_s
        # A crank that slows down evenly reaches an edge this much later than at a steady speed; but not so
        # late that the duty shows no direction, or that help has lapsed by then.
        late_s = min(
            (fall_s - rise_s) * _LONGEST_PITCH_OF_HIGH - pitch_s,
            (rise_s - before_s) * gap_share - pitch_s,
            stopping_s / 2.0,
        )
        if edge_s >= from_s and late_s >= 0.0:
            reached_s = stopping_s - sqrt(2.0 * stopping_s * late_s)
            stops.append(WorstStop(gap_share * (pitch_s + late_s) - reached_s, edge_s, reached_s))
    return sorted(stops, key=lambda stop: -stop.run_on_s)


def ride_to_stop(branch: Branch, stop: WorstStop, sooner_s: float) -> None:
    """Ride to the moment at which pedalling must stop; the edge is reached `sooner_s` sooner.

    The branch must be a little before that moment.
    """
    rad_per_s = branch.world.rider.crank_rad_per_s
    beyond_rad = LEG_ACCELERATION_RAD_PER_S2 * (stop.reached_before_s + sooner_s) ** 2 / 2.0
    stop_s = stop.edge_s
    for _ in range(3):
        stop_s = stop.edge_s + (beyond_rad - stopping_rad(rad_per_s, stop_s)) / rad_per_s
    branch.ride_on(stop_s)


def stopping_rad(rad_per_s: float, stop_s: float) -> float:
    """Return by what angle the crank turns on after pedalling stops, in the bench's own steps."""
    elapsed_s = CONTROL_PERIOD_S - stop_s % CONTROL_PERIOD_S
    turned_rad = 0.0
    while rad_per_s > 0.0:
        slower_rad_per_s = max(rad_per_s - LEG_ACCELERATION_RAD_PER_S2 * elapsed_s, 0.0)
        turned_rad += (rad_per_s + slower_rad_per_s) / 2.0 * elapsed_s
        rad_per_s, elapsed_s = slower_rad_per_s, CONTROL_PERIOD_S
    return turned_rad
