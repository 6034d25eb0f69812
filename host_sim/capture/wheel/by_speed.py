"""Lost pulses, doubled pulses and noise by speed, and noise with and without the motor driving."""

from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray
from scipy.stats import binomtest

from host_sim.capture.stretches import Floats
from host_sim.capture.wheel.pulses import WheelPulses
from host_sim.units import KM_PER_H_PER_M_PER_S

BANDS_KM_PER_H = (0.0, 8.0, 16.0, 24.0, 32.0, 120.0)
LOST_FROM, LOST_TO = 1.6, 8.4  # Times the neighbouring gaps; more is a stop.
AGREE = 1.3  # Largest ratio of the gaps before and after a lost pulse: a wheel is heavy.
BESIDE = 3
STILL_S = 1.5
CHANCE = 1e-4
MORE_TIMES = 3.0
NOISE_LEAST = 6


@dataclass(frozen=True, slots=True)
class Band:
    """Counts at speeds of `least` to `most` km/h, with a usual circumference if the real one is unknown."""

    least_km_per_h: float
    most_km_per_h: float
    seconds: float
    pulses: int
    lost: int
    doubled: int
    noise: int


@dataclass(frozen=True, slots=True)
class Noise:
    """Noise pulses per second, also with and without the motor driving; None without a channel for that.

    `with_drive`, `with_speed`: whether noise is clearly more frequent while the motor drives, or the wheel
    turns.
    """

    per_s: float
    driving_per_s: float | None
    idle_per_s: float | None
    with_drive: bool
    with_speed: bool


def lost_in(gaps_s: Floats, shape: Floats) -> tuple[Floats, Floats]:
    """Return the places of gaps in which pulses were lost, and how many in each.

    `shape`: the usual gap at each place, as a share of the mean (all 1 if magnets are even or unknown).
    """
    even = gaps_s / shape
    places, counts = [], []
    for place in range(1, len(even) - 1):
        # The shortest: other lost pulses make gaps longer, but hardly all of them.
        before = float(np.min(even[max(place - BESIDE, 0) : place]))
        after = float(np.min(even[place + 1 : place + 1 + BESIDE]))
        ratio = float(even[place] / np.sqrt(before * after))
        alike = max(before, after) < AGREE * min(before, after)
        whole = abs(ratio - round(ratio)) < 0.2 * round(ratio)
        if alike and whole and LOST_FROM <= ratio <= LOST_TO:
            places.append(place)
            counts.append(round(ratio) - 1)
    return np.array(places, np.int64), np.array(counts, np.int64)


def filled_gaps(gaps_s: Floats) -> Floats:
    """Return the gaps; those with lost pulses are divided evenly."""
    places, counts = lost_in(gaps_s, np.ones(len(gaps_s)))
    parts = np.ones(len(gaps_s), np.int64)
    parts[places] = counts + 1
    return np.asarray(np.repeat(gaps_s / parts, parts))


def speeds_at(pulses: WheelPulses, metres_a_pulse: float) -> tuple[Floats, Floats]:
    """Return the time in the middle of each gap, and the speed there in km/h."""
    middle_s = 0.5 * (pulses.rise_s[1:] + pulses.rise_s[:-1])
    return middle_s, KM_PER_H_PER_M_PER_S * metres_a_pulse / np.maximum(pulses.gaps_s, 1e-6)


def bands_of(pulses: WheelPulses, lost_s: Floats, lost: Floats, speeds: tuple[Floats, Floats]) -> list[Band]:
    """Return the bands of speed that have pulses."""
    middle_s, km_per_h = speeds
    if len(middle_s) == 0:
        return []
    # A lost pulse makes a gap look slow, never fast: the faster ones beside it count.
    smooth = np.array(
        [float(np.quantile(km_per_h[max(at - 4, 0) : at + 5], 0.75)) for at in range(len(km_per_h))]
    )
    at_lost, at_double, at_noise = (
        np.interp(when_s, middle_s, smooth) for when_s in (lost_s, pulses.double_s, pulses.noise_s)
    )
    turning = pulses.gaps_s < STILL_S
    bands = []
    for least, most in pairwise(BANDS_KM_PER_H):
        inside = _within(smooth, least, most) & turning
        bands.append(
            Band(
                least,
                most,
                float(pulses.gaps_s[inside].sum()),
                int(inside.sum()),
                int(lost[_within(at_lost, least, most)].sum()),
                int(_within(at_double, least, most).sum()),
                int(_within(at_noise, least, most).sum()),
            )
        )
    return [band for band in bands if band.pulses]


def _within(km_per_h: Floats, least: float, most: float) -> NDArray[np.bool_]:
    return (km_per_h >= least) & (km_per_h < most)


def noise_of(pulses: WheelPulses, seconds: float, drive: tuple[Floats, Floats] | None) -> Noise:
    """Return how frequent noise is, over `seconds`; `drive`: when the motor begins and ends to drive."""
    count = len(pulses.noise_s)
    driving: float | None = None
    idle: float | None = None
    with_drive = False
    if drive is not None:
        on_s, off_s = drive
        driven_s = float((off_s - on_s).sum())
        inside = np.searchsorted(on_s, pulses.noise_s, side="right") > np.searchsorted(off_s, pulses.noise_s)
        driving = float(inside.sum()) / max(driven_s, 1e-9)
        idle = float((~inside).sum()) / max(seconds - driven_s, 1e-9)
        with_drive = _more(int(inside.sum()), count, driven_s / seconds) and driving > MORE_TIMES * idle
    gaps_s = pulses.gaps_s
    turning_s = float(gaps_s[gaps_s < STILL_S].sum())
    place = np.clip(np.searchsorted(pulses.rise_s, pulses.noise_s) - 1, 0, max(len(gaps_s) - 1, 0))
    turning = int((gaps_s[place] < STILL_S).sum()) if len(gaps_s) and count else 0
    still_s = max(seconds - turning_s, 1e-9)
    with_speed = still_s > 3.0 and _more(turning, count, turning_s / seconds)
    return Noise(count / max(seconds, 1e-9), driving, idle, with_drive, with_speed and not with_drive)


def _more(inside: int, count: int, share: float) -> bool:
    """Whether more of `count` fall into a share of the time than can be due to chance."""
    if count < NOISE_LEAST or not 0.0 < share < 1.0:
        return False
    return float(binomtest(inside, count, share, alternative="greater").pvalue) < CHANCE
