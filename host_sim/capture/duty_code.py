"""Finds whether a channel is duty-coded: turning back changes its high share to the complement."""

from dataclasses import replace

import numpy as np
from scipy.ndimage import median_filter

from host_sim.capture.findings import CAN_NOT_TELL, Finding
from host_sim.capture.stretches import LEAST_PITCHES, Floats, Stretch

LEAST_EACH = 4  # Pitches in each direction.
APART = 0.1
COMPLEMENT = 0.08
ALIKE = 0.05
RUN_LEAST = 3.5  # Pitches: turning back lasts for some, an odd pitch next to a missing magnet is single.
NEAR_HALF = 0.045  # The share of a duty-coded sensor differs more from one half, which has no direction.


def kind_of_one_channel(stretches: list[Stretch]) -> Finding[str]:
    """Return "duty-coded" or "one channel", which is a guess if the crank was never turned back."""
    shares = _shares(stretches)
    if len(shares) < 3:
        return CAN_NOT_TELL
    high, low = shares[shares >= 0.5], shares[shares < 0.5]
    if min(len(high), len(low)) >= LEAST_EACH and _two_codes(shares, high, low):
        return Finding("duty-coded", 0.97)
    if len(shares) >= 10 and abs(float(np.median(shares)) - 0.5) < NEAR_HALF:
        return Finding("one channel", 0.95)
    return Finding("one channel", 0.6)


def _shares(stretches: list[Stretch]) -> Floats:
    if not stretches:
        return np.zeros(0)
    shares = np.concatenate([pitch_shares(stretch) for stretch in stretches])
    return np.asarray(shares[~np.isnan(shares)])


def pitch_shares(stretch: Stretch) -> Floats:
    """Return the high share of each pitch, 0 to 1; over a missing magnet, the share of one pitch.

    NaN if it is high for longer than a pitch: the crank stood at that magnet.
    """
    pitches_s = stretch.pitches_s
    steps = np.maximum(np.round(pitches_s / median_filter(pitches_s, 9, mode="nearest")), 1.0)
    shares = stretch.high_s / pitches_s * steps
    return np.asarray(np.where(shares > 1.0, np.nan, shares))


def _two_codes(shares: Floats, high: Floats, low: Floats) -> bool:
    above, below = float(np.median(high)), float(np.median(low))
    spread = max(float(np.median(np.abs(high - above))), float(np.median(np.abs(low - below))))
    calm = median_filter((shares >= 0.5).astype(np.int8), 3, mode="nearest")
    runs = int(np.count_nonzero(np.diff(calm))) // 2 + 1
    return bool(
        above - below > APART
        and abs(above + below - 1.0) < COMPLEMENT
        and spread < ALIKE
        and min(np.count_nonzero(calm), np.count_nonzero(calm == 0)) >= RUN_LEAST * runs
    )


def by_direction(stretches: list[Stretch]) -> list[Stretch]:
    """Split stretches of a duty-coded channel where the code changes; direction 1 is the larger share."""
    parts: list[Stretch] = []
    for stretch in stretches:
        # A pitch of unknown share, in which the crank stood while high, more likely has the longer high.
        high_longer = ~(pitch_shares(stretch) < 0.5)
        larger = median_filter(high_longer.astype(np.int8), 5, mode="nearest") > 0
        cuts = np.flatnonzero(np.diff(larger)) + 1
        for run in np.split(np.arange(len(stretch)), cuts):
            # The pitch in which the crank turned back belongs to neither direction.
            inner = run[1:] if run[0] > 0 else run
            if len(inner) >= LEAST_PITCHES:
                part = stretch.piece(int(inner[0]), int(inner[-1]) + 1)
                parts.append(replace(part, direction=1 if larger[run[0]] else -1))
    return parts
