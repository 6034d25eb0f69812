"""Finds out whether a channel is duty-coded: turning back changes its high share to the complement."""

import numpy as np
from scipy.ndimage import median_filter

from host_sim.capture.findings import Finding
from host_sim.capture.stretches import LEAST_PITCHES, Floats, Stretch

LEAST_EACH = 4  # Pitches in either direction.
APART = 0.1
COMPLEMENT = 0.08
ALIKE = 0.05
RUN_LEAST = 3.5  # Turned back means some pitches in a row, not a single one next to a missing magnet.
NEAR_HALF = 0.045  # A duty-coded part stays away from one half, where it shows no direction.


def kind_of_one_channel(stretches: list[Stretch]) -> Finding[str]:
    """Return "duty-coded", "one channel", or "one channel" as a guess where it was never turned back."""
    shares = _shares(stretches)
    if len(shares) < 3:
        return Finding(None, 0.0)
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
    """Return which share of each pitch is high, 0 to 1; of a gap with a magnet missing, which share of one.

    NaN where it is high for longer than a pitch: the crank stood on that magnet.
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
    """Split stretches of a duty-coded channel where the code changes; 1 is the larger high share."""
    parts: list[Stretch] = []
    for stretch in stretches:
        # The crank is more likely to stand while it is high where high lasts longer.
        high_longer = ~(pitch_shares(stretch) < 0.5)
        larger = median_filter(high_longer.astype(np.int8), 5, mode="nearest") > 0
        cuts = np.flatnonzero(np.diff(larger)) + 1
        for run in np.split(np.arange(len(stretch)), cuts):
            # The pitch in which the crank turned back is neither.
            inner = run[1:] if run[0] > 0 else run
            if len(inner) >= LEAST_PITCHES:
                parts.append(_part(stretch, int(inner[0]), int(inner[-1]) + 1, 1 if larger[run[0]] else -1))
    return parts


def _part(stretch: Stretch, first: int, end: int, direction: int) -> Stretch:
    return Stretch(
        direction,
        stretch.rises_s[first : end + 1],
        stretch.high_s[first:end],
        stretch.other_high_s[first:end],
        stretch.transit_s[first:end],
        stretch.fall_transit_s[first:end],
    )
