"""Duty, phase and overlap of the pulses, and the variation of the crank's speed."""

import numpy as np

from host_sim.capture.angles import Angles
from host_sim.capture.duty_code import pitch_shares
from host_sim.capture.edges import CHANNEL_B
from host_sim.capture.findings import CAN_NOT_TELL, Channels, Finding
from host_sim.capture.ring import Ring, known_median
from host_sim.capture.ways import Way

ORDER_MARGIN = 0.02  # Of a pitch: if two edges are closer, their order is random.
MIXED_DUTY = 0.05
SPEED_STEP_MOST = 0.15


def duty_of(
    kind: Finding[str], ring: Ring | None, way: Way, channels: Channels, sure: bool
) -> dict[str, Finding[float]]:
    """Return the duty of each live channel, 0 to 1, or that it is unknown; `sure`: whether the turn is."""
    angles = way.angles
    if not angles:
        return {}
    pitches = sum(len(one.pitch) for one in angles)
    confidence = 0.95 if pitches >= 12 else 0.7 if pitches >= 4 else 0.0
    first = "B" if (way.main < 0 and kind.value == "two channels") or channels.live == CHANNEL_B else "A"
    if not angles[0].free_of_legs:
        shares = np.concatenate([pitch_shares(one) for one in way.stretches if one.direction == way.main])
        if ring is not None and sure:
            return {first: _told(ring.duty, confidence)}
        # The mean, in which fast and slow parts of the turn cancel; a weak magnet lowers it.
        shares = shares[~np.isnan(shares)]
        if len(shares) == 0:
            return {first: CAN_NOT_TELL}
        mixed = float(shares.std()) > MIXED_DUTY
        return {first: _told(float(shares.mean()), min(confidence, 0.8 if mixed else 1.0))}
    if _speed_step(way) >= SPEED_STEP_MOST:
        confidence = min(confidence, 0.7)
    duty, other = _duties(ring, angles)
    found = {first: _told(duty, confidence)}
    if not np.isnan(other):
        found["B" if first == "A" else "A"] = _told(other, confidence)
    return dict(sorted(found.items()))


def _told(duty: float, confidence: float) -> Finding[float]:
    """Return a duty unless it is more than a whole pitch: the crank stood or jerked while it was high."""
    return Finding(duty, confidence) if 0.0 <= duty <= 1.0 else CAN_NOT_TELL


def _duties(ring: Ring | None, angles: list[Angles]) -> tuple[float, float]:
    """Return the duty of the leading and the other channel, from the ring or else from all pitches."""
    if ring is not None:
        return ring.duty, ring.other_duty
    high = np.concatenate([one.high for one in angles])
    return known_median(high), known_median(np.concatenate([one.other_high for one in angles]))


def phase_of(ring: Ring | None, way: Way) -> Finding[float]:
    """Return the phase from the leading channel to the other, electrical degrees."""
    angles = way.angles
    shares = [one.transit_share for one in angles if one.free_of_legs and len(one.pitch) >= 4]
    if not shares:
        return CAN_NOT_TELL
    phase_deg = ring.phase_deg if ring is not None else 360.0 * float(np.median(shares))
    pitches = sum(len(one.pitch) for one in angles)
    sure = pitches >= 12 and _speed_step(way) < SPEED_STEP_MOST
    return Finding(phase_deg, 0.95 if sure else 0.7)


def _speed_step(way: Way) -> float:
    """Return by how much the logarithm of the crank's speed changes from one measurement to the next.

    With few magnets it varies so much that the speed in between is uncertain.
    """
    steps = []
    for one in way.turning:
        rise, fall = np.log(one.stretch.transit_s), np.log(one.stretch.fall_transit_s)
        fall = fall - np.nanmedian(fall) + np.nanmedian(rise) if np.any(~np.isnan(fall)) else fall
        steps += [np.abs(fall - rise), np.abs(rise[1:] - fall[:-1])]
    known = np.concatenate(steps) if steps else np.zeros(0)
    known = known[~np.isnan(known)]
    return float(np.quantile(known, 0.75)) if len(known) else 0.0


def decodable_of(kind: Finding[str], ring: Ring | None, angles: list[Angles]) -> Finding[bool]:
    """Return whether A and B overlap, so that the four edges of a pitch come in quadrature order."""
    if kind.value != "two channels" or not angles or not angles[0].free_of_legs:
        return CAN_NOT_TELL
    share = float(np.median([one.transit_share for one in angles if one.free_of_legs]))
    first, second = _duties(ring, angles)
    margin = min(share, first - share, share + second - first, 1.0 - share - second)
    return Finding(margin > 0.0, 0.97 if abs(margin) > ORDER_MARGIN else 0.6)


def swing_of(angles: list[Angles], ring: Ring | None) -> float:
    """Return how much the crank's speed varies within a turn, as a share; 0.1 if unknown."""
    if not angles or ring is None or not all(one.free_of_legs for one in angles):
        return 0.1
    swings = []
    for one in angles:
        turn = len(ring.magnets)
        for first in range(0, len(one.log_speed) - turn + 1, turn):
            part = one.log_speed[first : first + turn]
            swings.append(float(part.max() - part.min()) / 2.0)
    return float(np.median(swings)) if swings else 0.1
