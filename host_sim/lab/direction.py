"""Lesson 1: how two channels show which way the crank turns, and what a board sees if it reads too rarely."""

from dataclasses import dataclass
from math import radians

from firmware.sense.crank import Crank
from firmware.settings import Settings
from host_sim.lab.checking import Check, check_all
from host_sim.plant.pedal_sensor import PedalSensor

PULSES = 8
BEGINNINGS = 8  # Moments at which a board that polls may start.
PITCH_DEG = 360.0 / PULSES
DEG_PER_S = 180.0  # 30 rpm.
_SETTLED_US = 4_000  # Longer than pulses that the firmware rejects as noise on a ring of this size.
Levels = list[tuple[float, int]]


@dataclass(frozen=True, slots=True)
class Turned:
    """A crank that was turned from 0 to `angle_deg`.

    `true_levels` are the ring's levels from an angle on (bit 0 channel A, bit 1 channel B), `seen_levels`
    those that the board read; `count` and `invalid` are the firmware decoder's result. `begun_elsewhere` are
    counts and invalid jumps of boards that start to read a fraction of `look_every_deg` later, since the
    result depends on that moment too.
    """

    angle_deg: float
    look_every_deg: float
    swapped: bool
    true_levels: Levels
    seen_levels: Levels
    count: int
    invalid: int
    begun_elsewhere: list[tuple[int, int]]

    @property
    def tries(self) -> list[tuple[int, int]]:
        """Count and invalid jumps for all moments at which the board may start to read."""
        return [(self.count, self.invalid), *self.begun_elsewhere]

    @property
    def counted_deg(self) -> float:
        """The angle that the board has counted: four edges per pitch."""
        return self.count * PITCH_DEG / 4.0

    @property
    def now(self) -> int:
        """The levels at the present angle."""
        return self.true_levels[-1][1]


def turn_crank(angle_deg: float, look_every_deg: float = 0.0, swapped: bool = False) -> Turned:
    """Turn a ring of eight magnets to an angle (-720 to 720 degrees) and let the firmware's decoder count.

    `look_every_deg` 0: an interrupt at every edge; else the board polls the levels every so many degrees of
    the crank (up to a pitch). `swapped`: the two wires are exchanged.
    """
    true_levels = _ring_levels(angle_deg, swapped)
    if look_every_deg == 0.0:
        return Turned(angle_deg, 0.0, swapped, true_levels, true_levels, *_decode(true_levels), [])
    seen, *others = (
        _looked_at(true_levels, angle_deg, look_every_deg, look_every_deg * part / BEGINNINGS)
        for part in range(BEGINNINGS)
    )
    elsewhere = [_decode(levels) for levels in others]
    return Turned(angle_deg, look_every_deg, swapped, true_levels, seen, *_decode(seen), elsewhere)


def _ring_levels(angle_deg: float, swapped: bool) -> Levels:
    """Return the levels at angle 0 and after every edge on the way."""
    sensor = PedalSensor("two_channel", PULSES, True, 0.5, 90.0, [], 0.0)
    sensor.swap_channels(swapped)
    sensor.advance(0.0, 0.0, 0.0, 0.001)
    levels = [(0.0, sensor.levels)]
    seconds = max(abs(angle_deg) / DEG_PER_S, 1e-6)
    edges = sensor.advance(0.0, radians(angle_deg), 0.0, seconds)
    for at in range(edges):
        levels.append((angle_deg * sensor.edge_times_s[at] / seconds, sensor.edge_levels[at]))
    return levels


def _looked_at(true_levels: Levels, angle_deg: float, every_deg: float, first_deg: float) -> Levels:
    """Return the levels at every reading, the first of them at `first_deg`."""
    seen = []
    sign = 1.0 if angle_deg >= 0.0 else -1.0
    place = 0
    for look in range(int((abs(angle_deg) - first_deg) / every_deg + 1e-9) + 1):
        reach_deg = first_deg + look * every_deg
        while place + 1 < len(true_levels) and abs(true_levels[place + 1][0]) <= reach_deg:
            place += 1
        seen.append((sign * reach_deg, true_levels[place][1]))
    return seen or [true_levels[0]]


def _decode(seen_levels: Levels) -> tuple[int, int]:
    """Pass the levels to the firmware's decoder; return forward minus backward edges, and invalid jumps."""
    crank = Crank(Settings({"pulses_per_rev": PULSES}), 0)
    count, invalid = 0, 0
    for angle_deg, levels in seen_levels:
        time_us = int(abs(angle_deg) / DEG_PER_S * 1e6) + 10_000
        forward, backward, rejected = crank.forward_run, crank.backward_run, crank.rejected
        crank.edge(levels, time_us)
        crank.settle(time_us + _SETTLED_US)
        if crank.rejected != rejected:
            invalid += 1
        elif crank.backward_run > backward:
            count -= 1
        elif crank.forward_run > forward:
            count += 1
    return count, invalid


def check_direction(turned: Turned) -> Check:
    """Check whether the crank turns forward while the board counts backward and sees no error."""
    bad = sum(1 for count, invalid in turned.tries if count >= 0 or invalid > 0)
    return check_all(
        [
            (turned.angle_deg >= 180.0, "turn the crank forward by half a turn or more"),
            (not turned.swapped, "leave the wires as they are"),
            (turned.count < 0, f"the board counts {turned.count:+d}, but it should count backward"),
            (
                turned.invalid == 0,
                f"the board saw {turned.invalid} invalid jumps, so it knows that something is wrong",
            ),
            (
                bad == 0 or turned.count >= 0 or turned.invalid > 0,
                f"it depends on luck: {bad} of {len(turned.tries)} starting moments give another result",
            ),
        ],
        "The board reads once every three quarters of a pitch, so each state looks like one step backward: "
        "aliasing. It sees no error. That is why the firmware captures every edge by interrupt.",
    )
