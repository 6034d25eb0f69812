"""Measures each magnet in volts: how high its pulse rises, and its margin above the threshold."""

from dataclasses import dataclass, replace

import numpy as np

from host_sim.capture.analog.swing import Swing, dead_channels
from host_sim.capture.analog.switching import Runs, Thresholds
from host_sim.capture.analog.volts_capture import VoltsCapture
from host_sim.capture.edges import Times
from host_sim.capture.findings import Inspection
from host_sim.capture.stretches import Floats
from host_sim.units import NS_PER_S

# Of the usual height; magnets of one batch differ by some per cent. Common practice, no source.
WEAK_SHARE = 0.8
CLIPPED_FLAT = 0.25
WOBBLE_SHARE, WOBBLE_EXPLAINS = 0.06, 0.7
TURNS_LEAST = 2
NEAR_NS = 5_000_000  # The most by which a cleaned edge differs from the switch's.
NEGATIVE_SHARE, NO_MEAN_SHARE = 0.1, 0.15
DRIFT_SHARE = 0.2


@dataclass(frozen=True, slots=True)
class MagnetVolts:
    """One magnet on one channel, medians over the turns.

    `peak_v` is the maximum while the channel is high, `trough_v` the minimum while it is low afterwards;
    `margin_v` how far they are beyond their thresholds, the smaller of the two; `share` the height from floor
    to peak or from top to trough, the smaller of the two, relative to this channel's usual magnet (1).
    """

    number: int
    peak_v: float
    trough_v: float
    margin_v: float
    share: float


@dataclass(frozen=True, slots=True)
class ChannelVolts:
    """One channel: its thresholds (medians, V), and its magnets in the order of the ring; none if unknown.

    `low_runs`: the share of weak pulses, 0 to 1, for when single magnets are unknown. `wobble`: amplitude of
    the height's variation once a turn, as a share, if that explains most of its variation; else 0.
    """

    name: str
    swing: Swing
    dead: bool
    thresholds_v: tuple[float, float]
    magnets: list[MagnetVolts]
    clipped: bool
    low_runs: float
    wobble: float

    @property
    def weak(self) -> list[MagnetVolts]:
        """The magnets whose pulse may be lost: far lower than usual, or with a margin below the noise."""
        if not self.swing.linear or self.dead:
            return []
        return [one for one in self.magnets if one.share < WEAK_SHARE or one.margin_v < self.swing.noise_v]

    @property
    def drift_v(self) -> float:
        """The range of the floor during the capture, V."""
        return float(np.ptp(self.swing.floor_v))

    @property
    def drifts(self) -> bool:
        """Whether fixed thresholds would detect different pulses."""
        return self.drift_v > DRIFT_SHARE * self.swing.usual_v

    @property
    def without_constant_part(self) -> bool:
        """Whether the voltage swings around 0, as behind a capacitor; a Hall output is never below 0."""
        return self._negative and abs(self.swing.mean_v) < NO_MEAN_SHARE * self.swing.usual_v

    @property
    def reversed(self) -> bool:
        """Whether the voltage is below 0 for another reason: a reversed probe or an inverted channel."""
        return self._negative and not self.without_constant_part

    @property
    def _negative(self) -> bool:
        return not self.dead and self.swing.least_v < -NEGATIVE_SHARE * self.swing.usual_v


@dataclass(frozen=True, slots=True)
class VoltsFound:
    """The findings from the volts. `unit_known`: whether the file says that its numbers are volts.

    `told`: whether the user gave the thresholds.
    """

    channels: list[ChannelVolts]
    unit_known: bool
    told: bool

    @property
    def linear(self) -> bool:
        """Whether the voltage follows the field, so that it distinguishes strong magnets from weak ones."""
        alive = [one for one in self.channels if not one.dead]
        return bool(alive) and all(one.swing.linear for one in alive)

    @property
    def judged(self) -> bool:
        """Whether every magnet was judged by its volts, on every channel."""
        return self.linear and all(one.magnets or one.dead for one in self.channels)

    @property
    def weak(self) -> list[int]:
        """The numbers of magnets that are weak on some channel."""
        return sorted({magnet.number for one in self.channels for magnet in one.weak})


def volts_of(capture: VoltsCapture, inspection: Inspection) -> VoltsFound:
    """Evaluate the volts of a capture whose edges were inspected."""
    dead = dead_channels(capture.swings)
    names = "AB" if len(capture.channels) == 2 else "A"
    channels = [_channel(name, capture, place, dead[place], inspection) for place, name in enumerate(names)]
    return VoltsFound(channels, capture.layout.unit_known, capture.told_v is not None)


def _channel(
    name: str, capture: VoltsCapture, place: int, dead: bool, inspection: Inspection
) -> ChannelVolts:
    swing, runs = capture.swings[place], capture.runs[place]
    thresholds = capture.thresholds_of(place)
    low_v, high_v = thresholds(swing.block_s)
    pulses = _pulses(runs, thresholds, swing)
    numbers = _numbers_of(pulses, runs, name, capture.start_ns, inspection)
    magnets = _magnets(pulses, numbers)
    share = pulses.share / np.median(pulses.share) if len(pulses.share) else pulses.share
    return ChannelVolts(
        name,
        swing,
        dead,
        (float(np.median(low_v)), float(np.median(high_v))),
        magnets,
        bool(swing.linear and len(runs.flat) and np.median(runs.flat[runs.level == 1]) > CLIPPED_FLAT),
        float(np.mean(share < WEAK_SHARE)) if len(share) else 0.0,
        _wobble(magnets),
    )


@dataclass(frozen=True, slots=True)
class _Pulses:
    """Each high time with the low time after it: `place` in the runs, volts, margin, height."""

    place: Times
    peak_v: Floats
    trough_v: Floats
    margin_v: Floats
    share: Floats


def _pulses(runs: Runs, thresholds: Thresholds, swing: Swing) -> _Pulses:
    place = np.flatnonzero(runs.level == 1)
    place = place[place + 1 < len(runs.level)]
    when_s = runs.begin_ns[place] / NS_PER_S
    low_v, high_v = thresholds(when_s)
    peak_v, trough_v = runs.extreme_v[place], runs.extreme_v[place + 1]
    floor_v = np.interp(when_s, swing.block_s, swing.floor_v)
    top_v = np.interp(when_s, swing.block_s, swing.top_v)
    swing_v = np.maximum(top_v - floor_v, 1e-9)
    up, down = (peak_v - floor_v) / swing_v, (top_v - trough_v) / swing_v
    return _Pulses(
        place, peak_v, trough_v, np.minimum(peak_v - high_v, low_v - trough_v), np.minimum(up, down)
    )


def _numbers_of(pulses: _Pulses, runs: Runs, name: str, start_ns: int, inspection: Inspection) -> Times:
    """Return the number of each pulse's magnet, 0 if unknown."""
    ring, rises_s = inspection.ring, inspection.rises_s
    numbers = np.zeros(len(pulses.place), np.int64)
    if ring is None or not inspection.pulses.sure or len(rises_s) < 2:
        return numbers
    begin_ns = runs.begin_ns[pulses.place] - start_ns
    rises_ns = np.round(rises_s * NS_PER_S).astype(np.int64)
    passed = np.searchsorted(rises_ns, begin_ns + NEAR_NS, side="right") - 1
    inside = (passed >= 0) & (begin_ns <= rises_ns[-1] + NEAR_NS)
    if inspection.phase_deg.value is None or name == ("A" if inspection.a_first else "B"):
        inside &= np.abs(rises_ns[np.maximum(passed, 0)] - begin_ns) <= NEAR_NS
    of_ring = np.array([magnet.number for magnet in ring.magnets])
    numbers[inside] = of_ring[passed[inside] % len(of_ring)]
    return numbers


def _magnets(pulses: _Pulses, numbers: Times) -> list[MagnetVolts]:
    found = []
    for number in sorted({int(one) for one in numbers if one}):
        mine = numbers == number
        if np.count_nonzero(mine) >= TURNS_LEAST:
            columns = (pulses.peak_v, pulses.trough_v, pulses.margin_v, pulses.share)
            found.append(MagnetVolts(number, *(float(np.median(column[mine])) for column in columns)))
    usual = float(np.median([one.share for one in found])) if found else 1.0
    return [replace(one, share=one.share / max(usual, 1e-9)) for one in found]


def _wobble(magnets: list[MagnetVolts]) -> float:
    """Return the amplitude of a variation once around the ring, if that explains most differences; else 0."""
    if len(magnets) < 6:
        return 0.0
    share = np.array([one.share for one in magnets])
    angle = 2.0 * np.pi * np.arange(len(share)) / len(share)
    part = 2.0 * np.mean((share - share.mean()) * np.exp(1j * angle))
    explained = 0.5 * abs(part) ** 2 / max(float(np.var(share)), 1e-12)
    return float(abs(part)) if abs(part) > WOBBLE_SHARE and explained > WOBBLE_EXPLAINS else 0.0
