"""The direction in which the crank turned, how far, and where magnet 1 is."""

from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from host_sim.capture.angles import Angles
from host_sim.capture.cleaning import CleanChannel
from host_sim.capture.edges import CHANNEL_A, CHANNEL_B
from host_sim.capture.findings import Channels
from host_sim.capture.parts import Turning, turning_of
from host_sim.capture.stretches import Floats, Stretch
from host_sim.units import NS_PER_S

ENDS_UNSTEADY = 2  # Pitches next to a stop or a change of direction.
STEADY_LEAST = 12  # Pitches; a foot that rocks the crank makes shorter stretches.


@dataclass(frozen=True, slots=True)
class Way:
    """How the crank turned: all stretches, and those of the main direction with their angles.

    `main`: the direction of most pitches. `before`: magnets that passed before the first stretch of it.
    `rises_s`: of the channel that leads in it, from that of magnet 1 on.
    """

    stretches: list[Stretch]
    main: int
    turning: list[Turning]
    before: int
    rises_s: Floats

    @property
    def angles(self) -> list[Angles]:
        """The angles of the main direction."""
        return [one.angles for one in self.turning]

    @property
    def rises(self) -> int:
        """How many magnets passed in the main direction, less those in the other."""
        # A stretch of n pitches has n + 1 rises; the crank went on a little beyond both of its ends.
        return sum((len(one) + 1) * (1 if one.direction == self.main else -1) for one in self.stretches)


def way_of(a: CleanChannel, b: CleanChannel, channels: Channels, stretches: list[Stretch]) -> Way:
    """Return how the crank turned, from `stretches`, which were found on the channels."""
    main = main_direction(stretches)
    turning = [turning_of(one) for one in steady(stretches, main)]
    # If the legs' variation can be removed, stretches too short for that would only disturb the result.
    turning = [one for one in turning if one.angles.free_of_legs] or turning
    leading = leading_channel(a, b, channels, main)
    first_rise_s = next((float(one.rises_s[0]) for one in stretches if one.direction == main), 0.0)
    before = int(np.searchsorted(leading.rises_ns / NS_PER_S, first_rise_s - 1e-9))
    if stretches and stretches[0].direction != main:
        before = 0
    return Way(stretches, main, turning, before, rises_from(leading, first_rise_s, before))


def steady(stretches: list[Stretch], main: int) -> list[Stretch]:
    """Return the stretches of the main direction without rocking and without turning round.

    Where the crank turns back it stands for a moment, so the neighbouring pitches show nothing about magnets.
    The first stretch keeps its start, from which magnets are numbered.
    """
    chosen = [(place, one) for place, one in enumerate(stretches) if one.direction == main]
    longest = max((len(one) for _, one in chosen), default=0)
    kept: list[Stretch] = []
    for place, one in chosen:
        begin = ENDS_UNSTEADY if place > 0 else 0
        end = len(one) - (ENDS_UNSTEADY if place + 1 < len(stretches) else 0)
        if end - begin >= STEADY_LEAST:
            kept.append(one.piece(begin, end))
        elif longest < STEADY_LEAST + 2 * ENDS_UNSTEADY or not kept:
            kept.append(one)
    return kept


def main_direction(stretches: list[Stretch]) -> int:
    """Return the direction in which most pitches were turned."""
    pitches: dict[int, int] = {}
    for stretch in stretches:
        pitches[stretch.direction] = pitches.get(stretch.direction, 0) + len(stretch)
    return max(pitches, key=lambda direction: pitches[direction], default=0)


def leading_channel(a: CleanChannel, b: CleanChannel, channels: Channels, main: int) -> CleanChannel:
    """Return the channel whose magnets come first in the main direction."""
    if channels.live == CHANNEL_B or (channels.live == CHANNEL_A + CHANNEL_B and main < 0):
        return b
    return a


def rises_from(leading: CleanChannel, first_rise_s: float, before: int) -> Floats:
    """Return the leading channel's rises from that of magnet 1 on."""
    rises_s = leading.rises_ns / NS_PER_S
    return np.asarray(rises_s[max(int(np.searchsorted(rises_s, first_rise_s - 1e-9)) - before, 0) :])


def reversals_seen(stretches: list[Stretch]) -> int:
    """Return how often the crank turned back for three pitches or more, by the cleaned edges."""
    directions = [stretch.direction for stretch in stretches if stretch.direction != 0]
    return sum(one != two for one, two in pairwise(directions))
