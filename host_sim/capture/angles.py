"""The angles between magnets, without the legs' variation of speed if the sensor allows that.

Two channels: the time from one pickup to the other gives the speed, wherever the magnet is; integrated over a
pitch it gives the pitch's angle. One channel: the legs' variation and uneven magnets differ only in shape, so
pitch times are used as angles and `Angles.free_of_legs` is False.
"""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from scipy.interpolate import CubicSpline
from scipy.ndimage import median_filter

from host_sim.capture.stretches import Floats, Stretch

BOOLE = ((0.0, 0.25, 0.5, 0.75, 1.0), (7.0 / 90, 32.0 / 90, 12.0 / 90, 32.0 / 90, 7.0 / 90))
LEAST_TRANSITS = 8
ODD_TRANSIT = 0.5  # In logarithms: a transit that differs so much from its neighbours is due to noise.
BEYOND_SEEN = 0.5  # In logarithms: by how much the speed may exceed the range that was measured.

Speed = Callable[[Floats], Floats]


@dataclass(frozen=True, slots=True)
class Angles:
    """Angles of one stretch, one entry per pitch, in units of the median pitch.

    `pitch`: from each rise to the next; `high`, `other_high`: width of the pulses of the leading and the
    other channel; `transit_share`: the angle between the pickups; `log_speed`: of the crank, mean 0. The last
    three are NaN with one channel. `free_of_legs`: whether the legs' variation of speed was removed.
    """

    pitch: Floats
    high: Floats
    other_high: Floats
    transit_share: float
    log_speed: Floats
    free_of_legs: bool


def angles_of(stretch: Stretch) -> Angles:
    """Return the angles of a stretch."""
    speed = _speed(stretch)
    pitches_s = stretch.pitches_s
    starts_s = stretch.rises_s[:-1]
    if speed is None:
        nothing = np.full(len(stretch), np.nan)
        # Unsmoothed times: smoothing would change the pattern that is searched for.
        unit_s = float(np.median(pitches_s))
        high, other_high = stretch.high_s / unit_s, stretch.other_high_s / unit_s
        return Angles(pitches_s / unit_s, high, other_high, np.nan, nothing, False)
    # In units of the angle between the pickups, until the pitch is known.
    pitch = _turned(speed, starts_s, pitches_s)
    unit = float(np.median(pitch))
    other_start_s = starts_s + np.nan_to_num(stretch.transit_s, nan=0.0)
    high = _turned(speed, starts_s, stretch.high_s)
    other_high = _turned(speed, other_start_s, stretch.other_high_s)
    log_speed = np.log(pitch / pitches_s)
    return Angles(
        pitch / unit, high / unit, other_high / unit, 1.0 / unit, log_speed - log_speed.mean(), True
    )


def _speed(stretch: Stretch) -> Speed | None:
    """Return the logarithm of speed over time, in angles between the pickups a second; None if not seen."""
    rise_s, fall_s = stretch.transit_s, stretch.fall_transit_s
    both = (rise_s > 0.0) & (fall_s > 0.0)
    if np.any(both):
        # If pulses of A and B differ in length, the angle from fall to fall is another one.
        ratio = np.log(fall_s[both] / rise_s[both])
        # The mean, in which the legs' variation cancels: few magnets sample it at only two or three places.
        steady = np.abs(ratio - np.median(ratio)) < ODD_TRANSIT
        fall_s = fall_s / np.exp((ratio[steady] if np.any(steady) else ratio).mean())
    middle_s = np.concatenate(
        (stretch.rises_s[:-1] + 0.5 * rise_s, stretch.rises_s[:-1] + stretch.high_s + 0.5 * fall_s)
    )
    transit_s = np.concatenate((rise_s, fall_s))
    seen = ~np.isnan(middle_s) & (transit_s > 0.0)
    order = np.argsort(middle_s[seen], kind="stable")
    middle_s, transit_s = middle_s[seen][order], transit_s[seen][order]
    if len(middle_s) < max(LEAST_TRANSITS, len(stretch) // 2):
        return None
    log_speed = -np.log(transit_s)
    quiet = np.abs(log_speed - median_filter(log_speed, 5, mode="nearest")) < ODD_TRANSIT
    apart = np.diff(middle_s, prepend=-np.inf) > 1e-6
    return _within_seen(middle_s[quiet & apart], log_speed[quiet & apart])


def _within_seen(times_s: Floats, log_speed: Floats) -> Speed:
    """Return the curve through the points, limited to near the values seen.

    In a long gap and beyond its ends a cubic may take any value.
    """
    curve = CubicSpline(times_s, log_speed)
    least, most = float(log_speed.min()) - BEYOND_SEEN, float(log_speed.max()) + BEYOND_SEEN
    return lambda when_s: np.clip(curve(when_s), least, most)


def _turned(speed: Speed, begin_s: Floats, lasting_s: Floats) -> Floats:
    """Integrate the speed over each span, by Boole's rule; spans are short compared with a turn."""
    turned = np.zeros(len(begin_s))
    for place, weight in zip(*BOOLE, strict=True):
        turned += weight * np.exp(speed(begin_s + place * lasting_s))
    return np.asarray(turned * lasting_s)
