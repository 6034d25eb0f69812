"""Cadence over time, from whole turns, so that uneven magnets and the legs' variation cancel."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from host_sim.capture.ring import Ring
from host_sim.capture.stretches import Floats, Stretch

SECONDS_PER_MINUTE = 60.0
# A pitch that is longer than both is a standstill: two adjacent missing magnets make three pitches.
STOOD_S, STOOD_PITCHES = 0.5, 3.3


@dataclass(frozen=True, slots=True)
class Cadence:
    """`rpm` at `time_s` (ascending): below 0 in the direction that counts as backward, NaN at a standstill.

    `least`, `median`, `most`: rpm while the crank turned, without sign, weighted by time.
    """

    time_s: Floats
    rpm: Floats
    least: float
    median: float
    most: float


def _stood(pitches_s: Floats, seen: int) -> NDArray[np.bool_]:
    """Return for each turn, one from each magnet on, whether the crank stood during it."""
    long = (pitches_s > STOOD_S) & (pitches_s > STOOD_PITCHES * np.median(pitches_s))
    before = np.concatenate(([0], np.cumsum(long)))
    return np.asarray(before[seen:] > before[:-seen])


def cadence_of(stretches: list[Stretch], ring: Ring | None, pulses: int, forward: int) -> Cadence | None:
    """Return the cadence of all stretches, None without any.

    `pulses` in a turn; `forward`: the direction that counts as such. A stretch shorter than a turn gives one
    value, its mean.
    """
    seen = len(ring.magnets) if ring is not None else pulses
    times: list[Floats] = []
    rates: list[Floats] = []
    lasting: list[Floats] = []
    for stretch in stretches:
        rises_s = stretch.rises_s
        sign = -1.0 if stretch.direction == -forward and stretch.direction != 0 else 1.0
        if len(stretch) >= seen:
            span_s = rises_s[seen:] - rises_s[:-seen]
            middle_s, rpm = 0.5 * (rises_s[seen:] + rises_s[:-seen]), SECONDS_PER_MINUTE / span_s
            rpm = np.where(_stood(stretch.pitches_s, seen), np.nan, rpm)
        else:
            span_s = rises_s[-1:] - rises_s[:1]
            middle_s = rises_s[:1] + 0.5 * span_s
            rpm = SECONDS_PER_MINUTE * len(stretch) / (seen * span_s)
        times += [middle_s, middle_s[-1:] + 1e-9]
        rates += [sign * rpm, np.array([np.nan])]  # A gap in the line before the next stretch.
        lasting += [span_s / max(len(span_s), 1), np.array([0.0])]
    rpm = np.concatenate(rates) if rates else np.zeros(0)
    if np.all(np.isnan(rpm)):
        return None
    weight = np.concatenate(lasting)
    known = ~np.isnan(rpm)
    size, weight = np.abs(rpm[known]), weight[known]
    order = np.argsort(size)
    half = int(np.searchsorted(np.cumsum(weight[order]), 0.5 * weight.sum()))
    median = float(size[order][min(half, len(order) - 1)])
    return Cadence(np.concatenate(times), rpm, float(size.min()), median, float(size.max()))
