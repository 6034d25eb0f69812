"""The forward angle of the left arm, from straight down, at which magnet 1 passes the leading pickup.

At rest the crank is between two edges. The first edge shows which two; their places within a pitch are known
from the ring. So the arm's position is known to half the distance between them.
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
    """Return where magnet 1 is; `edges` are those of the turns forward. None if the ring is not known."""
    ring = found.ring
    if ring is None or not edges or not found.pulses.sure:
        return None
    leading, other = (1, 2) if found.a_first else (2, 1)
    if not found.channels.live & leading:
        leading, other = other, leading
    # Places of the four edges within a pitch, from the rise of the leading channel on, forward.
    places = {(leading, 1): 0.0, (leading, 0): ring.duty}
    if not isnan(ring.phase_deg) and not isnan(ring.other_duty):
        phase = ring.phase_deg / DEG
        places |= {(other, 1): phase % 1.0, (other, 0): (phase + ring.other_duty) % 1.0}
    changed = (edges[0].levels ^ rest_levels) & 3
    if changed not in (1, 2) or (changed, int(bool(edges[0].levels & changed))) not in places:
        return None
    first = places[(changed, int(bool(edges[0].levels & changed)))]
    gone = 0
    ordered = sorted(places.values())
    before = max((one for one in ordered if one < first), default=ordered[-1] - 1.0)
    # If the magnet before the first is missing, the rest position may be in its gap.
    while ring.pulses - gone in ring.missing:
        gone += 1
    before -= gone
    rest = 0.5 * (before + first)
    # Magnet 1's rise is the next one at or after the first edge.
    rise = 0.0 if first == 0.0 else 1.0
    pitch_deg = DEG / ring.pulses
    return ArmPosition((rise - rest) * pitch_deg, 0.5 * (first - before) * pitch_deg)
