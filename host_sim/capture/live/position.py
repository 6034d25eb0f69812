"""The forward angle of the left arm, from straight down, at which magnet 1 passes the leading pickup.

At rest the crank is between two edges. The first edge shows which ones; their places within a pitch follow
from the ring. So the arm's position is known to within half the distance between them.
"""

from dataclasses import dataclass
from math import isnan

from host_sim.capture.findings import Inspection
from host_sim.capture.live.guide import Edge

DEG = 360.0


@dataclass(frozen=True, slots=True)
class ArmPosition:
    """`degrees` forward from straight down, plus or minus `within_deg`."""

    degrees: float
    within_deg: float


def arm_position(edges: list[Edge], rest_levels: int, found: Inspection) -> ArmPosition | None:
    """Return where magnet 1 is; `edges` are those of the turns forward. None if the ring is unknown."""
    ring = found.ring
    if ring is None or not edges or not found.pulses.sure:
        return None
    leading, other = (1, 2) if found.a_first else (2, 1)
    if not found.channels.live & leading:
        leading, other = other, leading
    # Places of the four edges (channel, level) within a pitch, from the rise of the leading channel on.
    places = {(leading, 1): 0.0, (leading, 0): ring.duty}
    if not isnan(ring.phase_deg) and not isnan(ring.other_duty):
        phase = ring.phase_deg / DEG
        places |= {(other, 1): phase % 1.0, (other, 0): (phase + ring.other_duty) % 1.0}
    changed = (edges[0].levels ^ rest_levels) & 3
    first = places.get((changed, int(bool(edges[0].levels & changed))))
    if first is None:
        return None
    ordered = sorted(places.values())
    before = max((one for one in ordered if one < first), default=ordered[-1] - 1.0)
    # If the magnets before the first are missing, the rest position may be in their gap.
    last = ring.pulses
    while last in ring.missing:
        last -= 1
    before -= ring.pulses - last
    rest = 0.5 * (before + first)
    # Magnet 1's rise is the next one at or after the first edge.
    rise = 0.0 if first == 0.0 else 1.0
    pitch_deg = DEG / ring.pulses
    return ArmPosition((rise - rest) * pitch_deg, 0.5 * (first - before) * pitch_deg)
