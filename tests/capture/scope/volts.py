"""Volts of two Hall outputs, sampled: field, offset, drift, noise, hum, a range that clips, coupling.

The field is that of the magnets in `tests.capture.halls`, which share no code with what is tested here.
"""

from dataclasses import dataclass, field

import numpy as np

from tests.capture.halls.legs import Legs, turned
from tests.capture.halls.ring import Floats, Magnets, switched


@dataclass(frozen=True, slots=True)
class Scope:
    """What is measured, and how. Volts: `offset_v` without a field, `gain_v` over the usual magnet (A, B).

    `drift_v` by the end; `noise_v` standard deviation; `hum_v` amplitude at 50 Hz; `range_v` what is shown,
    the rest is cut; `ac_s` time constant of a coupling capacitor, 0 for none; `inverted`: upside down;
    `switches`: the elements are switches with 0.1 and 3.2 V; `bits` of the converter over its range.
    """

    ring: Magnets
    legs: Legs = field(default_factory=Legs)
    seed: int = 1
    rate_hz: float = 2000.0
    offset_v: float = 0.5
    gain_v: tuple[float, float] = (2.0, 2.0)
    drift_v: float = 0.0
    noise_v: float = 0.005
    hum_v: float = 0.0
    range_v: tuple[float, float] = (-5.0, 5.0)
    ac_s: float = 0.0
    inverted: bool = False
    switches: bool = False
    bits: int = 12


def sampled(scope: Scope) -> tuple[Floats, Floats]:
    """Return times in seconds, and volts with a row for each channel."""
    legs_s, turns = turned(scope.legs, scope.seed)
    times_s = np.arange(0.0, float(legs_s[-1]), 1.0 / scope.rate_hz)
    pitches = np.interp(times_s, legs_s, turns) * scope.ring.count
    random = np.random.default_rng(scope.seed)
    rows = []
    for channel in (0, 1):
        seen = scope.ring.field_at(pitches, channel)
        volts = scope.offset_v + scope.gain_v[channel] * seen
        if scope.switches:
            places, first = switched(seen)
            flips = np.zeros(len(seen), np.int64)
            flips[places] = 1
            volts = np.where((np.cumsum(flips) + first) & 1, 3.2, 0.1)
        volts = volts + scope.drift_v * times_s / times_s[-1]
        volts = volts + scope.noise_v * random.standard_normal(len(volts))
        volts = volts + scope.hum_v * np.sin(2.0 * np.pi * 50.0 * times_s + channel)
        if scope.ac_s:
            volts = _coupled(volts, 1.0 / scope.rate_hz / scope.ac_s)
        volts = -volts if scope.inverted else volts
        low, high = scope.range_v
        step = (high - low) / 2**scope.bits
        rows.append(np.round(np.clip(volts, low, high) / step) * step)
    return times_s, np.array(rows)


def _coupled(volts: Floats, share: float) -> Floats:
    """Return the volts behind a capacitor, which has charged before the recording began."""
    held, out = float(volts[:4000].mean()), np.empty(len(volts))
    for place, value in enumerate(volts.tolist()):
        held += (value - held) * share
        out[place] = value - held
    return out


def true_heights(ring: Magnets, channel: int) -> list[float]:
    """Return the peak of the field at each magnet, relative to the median, magnet 1 first."""
    pitches = np.linspace(0.0, ring.count, ring.count * 400, endpoint=False)
    seen = ring.field_at(pitches, channel)
    peaks = np.roll(seen, -round(channel * ring.phase * 400)).reshape(ring.count, 400).max(axis=1)
    return [float(peak) for peak in peaks / np.median(peaks)]


def first_magnet(scope: Scope) -> int:
    """Return the magnet with the first rise at pickup A: the capture's magnet 1."""
    _, turns = turned(scope.legs, scope.seed)
    pitches = turns * scope.ring.count
    seen = scope.ring.field_at(pitches, 0)
    places, first = switched(seen)
    rise = places[first]
    return int(np.round(pitches[rise] - 0.5 + 0.1)) % scope.ring.count + 1
