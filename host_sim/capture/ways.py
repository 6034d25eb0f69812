"""The directions in which the crank turned, how far, and where magnet 1 is."""

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
STEADY_LEAST = 12  # Pitches; rocking makes shorter stretches.


@dataclass(frozen=True, slots=True)
class Way:
    """How the crank turned: all stretches, and those of the main direction with their angles.

    `main`: the direction of most pitches. `before`: magnets that passed before its first stretch.
    `rises_s`: of the channel that leads in this direction, from that of magnet 1 on.
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
        """How many magnets passed in the main direction, minus those in the other."""
        # A stretch of n pitches has n + 1 rises; the crank turned slightly beyond both of its ends.
        return sum((len(one) + 1) * (1 if one.direction == self.main else -1) for one in self.stretches)


def way_of(a: CleanChannel, b: CleanChannel, channels: Channels, stretches: list[Stretch]) -> Way:
    """Return how the crank turned, from the `stretches` of the two channels."""
    main = _main_direction(stretches)
    turning = [turning_of(one) for one in _steady(stretches, main)]
    # If the legs' variation can be removed, stretches too short for that would only disturb the result.
    turning = [one for one in turning if one.angles.free_of_legs] or turning
    first_rise_s = next((float(one.rises_s[0]) for one in stretches if one.direction == main), 0.0)
    b_leads = channels.live == CHANNEL_B or (channels.live == CHANNEL_A + CHANNEL_B and main < 0)
    rises_s = (b if b_leads else a).rises_ns / NS_PER_S
    place = int(np.searchsorted(rises_s, first_rise_s - 1e-9))
    before = 0 if stretches and stretches[0].direction != main else place
    return Way(stretches, main, turning, before, rises_s[place - before :])


def _steady(stretches: list[Stretch], main: int) -> list[Stretch]:
    """Return the stretches of the main direction without rocking and without their ends at reversals.

    Where the crank turns back it stands for a moment, so the pitches beside that say nothing about magnets.
    The first stretch keeps its start, because magnets are numbered from there.
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


def _main_direction(stretches: list[Stretch]) -> int:
    """Return the direction of most pitches, 0 without any."""
    pitches: dict[int, int] = {}
    for stretch in stretches:
        pitches[stretch.direction] = pitches.get(stretch.direction, 0) + len(stretch)
    return max(pitches, key=lambda direction: pitches[direction], default=0)


def reversals_seen(stretches: list[Stretch]) -> int:
    """Return how often the crank turned back for three pitches or more, according to the cleaned edges."""
    directions = [stretch.direction for stretch in stretches if stretch.direction != 0]
    return sum(one != two for one, two in pairwise(directions))
