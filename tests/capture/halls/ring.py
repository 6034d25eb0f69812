"""Magnets on a ring, the field that a pickup sees, and the Hall switch that turns a field into levels.

A magnet's field falls off as a Gaussian of the angle between magnet and pickup; fields add. A switch turns on
above one threshold and off below a lower one, so its edges differ with the direction of travel, as a part's
do. Strengths belong to a magnet and a channel: one of two pickups may sit farther away.
"""

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

OPERATE, RELEASE = 0.42, 0.38  # Beside the field of a usual magnet; datasheets of switches have such spans.
SWEEP_POINTS = 4000  # A pitch, for the truth.


@dataclass(frozen=True, slots=True)
class Magnets:
    """A ring. Lengths are shares of a pitch, `strengths` one list for A and one for B, 1 for the usual.

    `duty`: how long the usual magnet holds a channel on. `phase`: from pickup A to pickup B. `places`: how
    far each magnet sits from its even place.
    """

    count: int
    duty: float = 0.5
    phase: float = 0.25
    places: tuple[float, ...] = ()
    strengths: tuple[dict[int, float], dict[int, float]] = field(default=({}, {}))

    def field_at(self, pitches: Floats, channel: int) -> Floats:
        """Return the field at pickup `channel` (0 or 1), the ring having turned by `pitches`."""
        middle = 0.5 * (OPERATE + RELEASE)
        width = 0.5 * self.duty / np.sqrt(-2.0 * np.log(middle))
        strength = np.ones(self.count)
        for number, value in self.strengths[channel].items():
            strength[number - 1] = value
        place = np.asarray(self.places) if self.places else np.zeros(self.count)
        # Magnet k passes pickup A when the ring has turned by k + 1/2, and pickup B a phase later.
        seen = pitches - 0.5 - channel * self.phase
        nearest = np.round(seen).astype(np.int64)
        total = np.zeros(len(pitches))
        for beside in (-1, 0, 1):
            index = (nearest + beside) % self.count
            off = seen - (nearest + beside) - place[index]
            total += strength[index] * np.exp(-0.5 * (off / width) ** 2)
        return total


def switched(field_seen: Floats) -> tuple[NDArray[np.int64], int]:
    """Return the places (index of the sample after it) where a Hall switch changes, and its first level."""
    mark = np.where(field_seen >= OPERATE, 1, np.where(field_seen <= RELEASE, 0, -1))
    known = np.maximum.accumulate(np.where(mark >= 0, np.arange(len(mark)), -1))
    level = np.where(known >= 0, mark[np.maximum(known, 0)], 0)
    return np.flatnonzero(np.diff(level)) + 1, int(level[0])


def crossing(times_s: Floats, field_seen: Floats, places: NDArray[np.int64], first: int) -> Floats:
    """Return when the switch changes: between two samples the field is linear."""
    levels = (first + 1 + np.arange(len(places))) & 1
    threshold = np.where(levels == 1, OPERATE, RELEASE)
    before, after = field_seen[places - 1], field_seen[places]
    share = np.clip((threshold - before) / np.where(after == before, 1.0, after - before), 0.0, 1.0)
    return times_s[places - 1] + share * (times_s[places] - times_s[places - 1])


@dataclass(frozen=True, slots=True)
class SweptTruth:
    """What one slow even turn forward tells, by channel: rises seen, share of the turn on.

    `overlap` is the shortest time, as a share of a pitch, between two edges in a row (of A and B together);
    `ordered` whether the edges come as a quadrature's do, all around.
    """

    rises: tuple[int, int]
    duty: tuple[float, float]
    overlap: float
    ordered: bool


def sweep(ring: Magnets) -> SweptTruth:
    """Turn the ring once, evenly, and return what the pickups show."""
    pitches = np.linspace(0.0, 2.0 * ring.count, 2 * ring.count * SWEEP_POINTS // 4 + 1)
    edges: list[tuple[float, int, int]] = []
    duty, rises = [], []
    for channel in (0, 1):
        seen = ring.field_at(pitches, channel)
        places, first = switched(seen)
        when = crossing(pitches, seen, places, first)
        inside = [
            (float(at), channel, (first + 1 + index) & 1)
            for index, at in enumerate(when)
            if ring.count / 2 <= at < 1.5 * ring.count
        ]
        edges += inside
        rises.append(sum(level for _, _, level in inside))
        span = slice(len(pitches) // 4, 3 * len(pitches) // 4)
        level = np.zeros(len(pitches), np.int64)
        level[places] = 1
        duty.append(float((((np.cumsum(level) + first) & 1)[span]).mean()))
    edges.sort()
    order = [(channel, level) for _, channel, level in edges]
    follows = {(0, 1): (1, 1), (1, 1): (0, 0), (0, 0): (1, 0), (1, 0): (0, 1)}
    ordered = all(follows[one] == two for one, two in zip(order, [*order[1:], order[0]], strict=True))
    times = [at for at, _, _ in edges]
    overlap = min(np.diff([*times, times[0] + ring.count])) if times else 0.0
    return SweptTruth((rises[0], rises[1]), (duty[0], duty[1]), float(overlap), ordered)
