"""From edges of one channel to the pulses of a wheel's magnets, without noise and doubled pulses."""

from dataclasses import dataclass

import numpy as np

from host_sim.capture.edges import CHANNEL_A, CHANNEL_B, Levels, Times
from host_sim.capture.stretches import Floats
from host_sim.units import NS_PER_S

AROUND_S = 2.0
NARROW_SHARE = 0.3  # Of the usual width nearby; a magnet's pulse is never so short.
NARROW_MOST_S = 0.004  # A magnet of 10 mm near the rim takes some ms to pass even at 100 km/h.
DOUBLE_SHARE = 0.3  # Of the usual time between pulses nearby.
BESIDE = 4


@dataclass(frozen=True, slots=True)
class WheelPulses:
    """Rises in seconds of the capture: of the pulses that count, of noise, and of doubled pulses.

    If the sensor is low over a magnet, these are falls.
    """

    rise_s: Floats
    noise_s: Floats
    double_s: Floats

    @property
    def gaps_s(self) -> Floats:
        """The times from pulse to pulse, s."""
        return np.diff(self.rise_s)


def wheel_pulses(times_ns: Times, levels: Levels) -> WheelPulses:
    """Return the pulses of channel A."""
    level = (levels & CHANNEL_A) > 0
    changed = np.flatnonzero(level[1:] != level[:-1]) + 1
    change_s = times_ns[changed] / NS_PER_S
    if len(change_s) < 2:
        return WheelPulses(np.zeros(0), np.zeros(0), np.zeros(0))
    first_high = bool(level[changed[0]])
    low_over = _low_over_magnet(change_s, first_high)
    begin = 0 if first_high != low_over else 1
    rise_s = change_s[begin::2]
    end_s = change_s[begin + 1 :: 2]
    rise_s = rise_s[: len(end_s)]
    width_s = end_s - rise_s
    narrow = width_s < np.minimum(NARROW_SHARE * _usual_widths(rise_s, width_s), NARROW_MOST_S)
    kept_s, noise_s = rise_s[~narrow], rise_s[narrow]
    double = _doubles(kept_s)
    return WheelPulses(kept_s[~double], noise_s, kept_s[double])


def drive_times(times_ns: Times, levels: Levels) -> tuple[Floats, Floats]:
    """Return when the second channel becomes high, and when low again or the capture ends, s."""
    level = ((levels & CHANNEL_B) > 0).astype(np.int8)
    change = np.diff(level, prepend=0, append=0)
    times_s = np.append(times_ns, times_ns[-1]) / NS_PER_S
    return times_s[change == 1], times_s[change == -1]


def _low_over_magnet(change_s: Floats, first_high: bool) -> bool:
    """Whether the channel is low over magnets: then highs are longer, since gaps are longer than magnets."""
    spans = np.diff(change_s)
    high = spans[0 if first_high else 1 :: 2]
    low = spans[1 if first_high else 0 :: 2]
    if len(high) == 0 or len(low) == 0:
        return False
    return _weighted_median(high) > _weighted_median(low)


def _weighted_median(spans_s: Floats) -> float:
    """Return the median of spans, weighted by their length, so that short ones have no effect."""
    ordered = np.sort(spans_s)
    return float(ordered[int(np.searchsorted(np.cumsum(ordered), 0.5 * ordered.sum()))])


def _usual_widths(rise_s: Floats, width_s: Floats) -> Floats:
    """Return for each pulse the weighted median of the widths within AROUND_S."""
    usual = np.empty(len(rise_s))
    first = np.searchsorted(rise_s, rise_s - AROUND_S)
    stop = np.searchsorted(rise_s, rise_s + AROUND_S, side="right")
    before = (-1, -1, 0.0)
    for place, (begin, end) in enumerate(zip(first.tolist(), stop.tolist(), strict=True)):
        # It hardly changes from pulse to pulse: computed again after a tenth of the window.
        if before[0] < 0 or end - before[1] > (end - begin) // 10 or begin - before[0] > (end - begin) // 10:
            before = (begin, end, _weighted_median(width_s[begin:end]))
        usual[place] = before[2]
    return usual


def _doubles(rise_s: Floats) -> np.ndarray:
    """Return which pulses come far too soon after the one before: a bouncing contact, or a slow magnet."""
    double = np.zeros(len(rise_s), np.bool_)
    gaps = np.diff(rise_s)
    if len(gaps) < BESIDE:
        return double
    for place in range(len(gaps)):
        around = gaps[max(place - BESIDE, 0) : place + BESIDE + 1]
        usual = float(np.quantile(around, 0.75))
        double[place + 1] = gaps[place] < DOUBLE_SHARE * usual and not double[place]
    return double
