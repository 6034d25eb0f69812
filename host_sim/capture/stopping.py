"""The settings that follow from a ring: the slowest cadence it supports, and how soon it shows a stop.

The stop gap is computed by the firmware's rule: the least of the gap at the release cadence, a share of the
last measured pitch, and the time that the cut-off distance allows at the speed.
"""

from dataclasses import dataclass
from itertools import pairwise
from math import ceil, isnan

from firmware.decide.pedalling import Pedalling
from firmware.sense.crank import US_PER_MINUTE
from firmware.settings import TABLE, Settings
from firmware.ticks import CONTROL_PERIOD_MS
from host_sim.capture.ring import Ring
from host_sim.units import KM_PER_H_PER_M_PER_S, MM_PER_S_PER_KM_PER_H

SPEEDS_KM_PER_H = (6.0, 10.0, 15.0, 20.0, 25.0)
STEADY_RPM = 60
SLOWEST_SPEED_KM_PER_H = 6.0  # Start-up speed: below it, riders are still setting off.
CADENCE_TRIED_RPM = 150
_LIMITS = {name: (lowest, highest) for name, _, lowest, highest, _ in TABLE}


@dataclass(frozen=True, slots=True)
class StopRow:
    """At one speed: the slowest steady cadence at which help continues (0: none up to 150 rpm), and the stop.

    `stop_s`: from the last edge at 60 rpm to the end of power; `distance_m`: the distance in that time.
    """

    speed_km_per_h: float
    slowest_rpm: int
    stop_s: float
    distance_m: float


@dataclass(frozen=True, slots=True)
class Support:
    """The settings that a ring supports: `gap_share` is its longest gap between edges, as a share of a pitch.

    `release_rpm` and `engage_rpm` are the lowest usable ones, 0 if there is none.
    """

    gap_share: float
    release_rpm: int
    engage_rpm: int
    rows: list[StopRow]


def edge_gaps(ring: Ring) -> list[float]:
    """Return the gaps between neighbouring edges around the ring, as shares of a pitch."""
    edges: list[float] = []
    for magnet in ring.magnets:
        rise = magnet.number - 1 + magnet.error_deg * ring.pulses / 360.0 - 0.5 * magnet.width
        edges += [rise, rise + magnet.width]
        if not isnan(ring.phase_deg) and not isnan(magnet.other_width):
            other = rise + ring.phase_deg / 360.0
            edges += [other, other + magnet.other_width]
    edges.sort()
    return [after - before for before, after in pairwise([*edges, edges[0] + ring.pulses])]


def support_of(ring: Ring, settings: Settings, duty_coded: bool, swing: float) -> Support:
    """Return what a ring supports with `settings`, except for pulses and gap, which are the ring's.

    `swing`: variation of the crank's speed about its mean, a share. `duty_coded`: one edge per pitch counts.
    """
    share = 1.0 if duty_coded else max(edge_gaps(ring))
    if ring.missing and duty_coded:
        share = 2.0
    values = settings.as_dict()
    values["pulses_per_rev"] = _within_limits("pulses_per_rev", ring.pulses)
    values["edge_gap_permille"] = _within_limits("edge_gap_permille", ceil(share * 1000.0))
    # The lowest allowed: the limit must come from the ring only.
    values["release_rpm"] = _LIMITS["release_rpm"][0]
    legs = Pedalling(Settings(values))
    rows = [_row(legs, values, share * (1.0 + swing), speed) for speed in SPEEDS_KM_PER_H]
    release = next(row.slowest_rpm for row in rows if row.speed_km_per_h == SLOWEST_SPEED_KM_PER_H)
    if release == 0:
        return Support(share, 0, 0, rows)
    release = max(release, _LIMITS["release_rpm"][0])
    # The two must differ by more than the cadence varies, or help would switch on and off.
    wobble = min(_wobble(ring) + swing, 0.6)
    engage = max(ceil(release * (1.0 + wobble) / (1.0 - wobble)), release + 1, _LIMITS["engage_rpm"][0])
    return Support(share, release, engage, rows)


def _within_limits(name: str, value: int) -> int:
    lowest, highest = _LIMITS[name]
    return min(max(value, lowest), highest)


def _wobble(ring: Ring) -> float:
    """Return the largest error of a single pitch, a share: the firmware computes cadence from one pitch."""
    errors = [magnet.error_deg * ring.pulses / 360.0 for magnet in ring.magnets]
    numbers = [magnet.number for magnet in ring.magnets]
    around = pairwise([*zip(numbers, errors, strict=True), (numbers[0] + ring.pulses, errors[0])])
    return max((abs(two[1] - one[1]) for one, two in around if two[0] - one[0] == 1), default=0.0)


def _row(legs: Pedalling, values: dict[str, int], share: float, speed_km_per_h: float) -> StopRow:
    speed_mm_per_s = round(speed_km_per_h * MM_PER_S_PER_KM_PER_H)
    pulses = values["pulses_per_rev"]
    slowest = 0
    for rpm in range(1, CADENCE_TRIED_RPM + 1):
        pitch_us = US_PER_MINUTE // (pulses * rpm)
        if share * pitch_us < legs._stop_gap_us(pitch_us, speed_mm_per_s):
            slowest = rpm
            break
    gap_us = legs._stop_gap_us(US_PER_MINUTE // (pulses * STEADY_RPM), speed_mm_per_s)
    stop_s = gap_us / 1e6 + (CONTROL_PERIOD_MS + values["motor_lag_ms"]) / 1e3
    return StopRow(speed_km_per_h, slowest, stop_s, stop_s * speed_km_per_h / KM_PER_H_PER_M_PER_S)
