"""Swing and noise of a channel's voltage, and the thresholds that follow from them.

Measured in blocks of two seconds, so that the thresholds follow a drift of the offset, or an AC-coupled
channel. A block without magnets uses the values of its neighbours.
"""

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from host_sim.capture.analog.rows import Piece
from host_sim.capture.stretches import Floats
from host_sim.units import NS_PER_S

BLOCK_S = 2.0
LOW_PERCENT, HIGH_PERCENT = 1.0, 99.0
MOVING_SHARE = 0.5  # A block with less than this of the usual swing has no magnets in it.
MIDDLE = 0.42  # Of the swing: magnets are peaks on a flat floor, and a weak one must still be detected.
HALF_BAND_LEAST, HALF_BAND_MOST = 0.08, 0.25
NOISE_ROOM = 0.7  # Times the peak-to-peak noise, on either side of the middle.
MAINS_HZ = (50.0, 60.0)
BESIDE_HZ = (-3.5, -2.5, 2.5, 3.5)  # What is also found here comes from the magnets, not from hum.
SIGMAS = 6.0  # Peak-to-peak normal noise, in standard deviations.
BETWEEN = (0.25, 0.75)
LINEAR_SHARE = 0.12
DEAD_VOLTS, DEAD_SHARE = 0.1, 0.08
SAMPLES_MOST = 1_000_000  # In a block; at higher rates blocks are shorter.


@dataclass(frozen=True, slots=True)
class Swing:
    """The voltage of one channel. The arrays have an entry for each block: its middle (s), floor and top (V).

    `noise_v` is peak to peak, including hum. `between`: the share of samples in blocks with magnets that are
    neither near the floor nor near the top. `least_v`, `most_v`, `mean_v`: over the whole capture.
    """

    block_s: Floats
    floor_v: Floats
    top_v: Floats
    noise_v: float
    between: float
    least_v: float
    most_v: float
    mean_v: float

    @property
    def usual_v(self) -> float:
        """The swing from floor to top, V: the median over the blocks."""
        return float(np.median(self.top_v - self.floor_v))

    @property
    def linear(self) -> bool:
        """Whether the voltage follows the field, as from a Hall element; a switch has only two levels."""
        return self.between >= LINEAR_SHARE

    @property
    def half_band(self) -> float:
        """Half the distance between the two thresholds, as a share of the swing."""
        wanted = NOISE_ROOM * self.noise_v / max(self.usual_v, 1e-9)
        return min(max(wanted, HALF_BAND_LEAST), HALF_BAND_MOST)

    def thresholds_v(self, when_s: Floats) -> tuple[Floats, Floats]:
        """Return the lower and upper threshold, V, at each time."""
        floor_v = np.interp(when_s, self.block_s, self.floor_v)
        swing_v = np.interp(when_s, self.block_s, self.top_v) - floor_v
        return (
            floor_v + (MIDDLE - self.half_band) * swing_v,
            floor_v + (MIDDLE + self.half_band) * swing_v,
        )


@dataclass(frozen=True, slots=True)
class _Block:
    middle_s: float
    floor_v: float
    top_v: float
    noise_v: float
    least_v: float
    most_v: float
    sum_v: float
    count: int
    volts: Floats  # About a thousand of the samples.


def swings_of(pieces: Iterator[Piece], channels: int) -> list[Swing]:
    """Measure each channel over all pieces."""
    blocks: list[list[_Block]] = [[] for _ in range(channels)]
    for times_s, volts in _in_blocks(pieces):
        for channel in range(channels):
            blocks[channel].append(_measured(times_s, volts[channel]))
    return [_swing(some) for some in blocks]


def _in_blocks(pieces: Iterator[Piece]) -> Iterator[tuple[Floats, Floats]]:
    """Yield the samples in blocks of BLOCK_S, the last one longer."""
    times: list[Floats] = []
    volts: list[Floats] = []
    held = 0
    begin_s = 0.0
    for piece in pieces:
        times_s = piece.times_ns / NS_PER_S
        begin_s = begin_s if times else float(times_s[0])
        times.append(times_s)
        volts.append(piece.volts)
        held += len(times_s)
        while times[-1][-1] - begin_s >= 2.0 * BLOCK_S or held > SAMPLES_MOST:
            all_s, all_v = np.concatenate(times), np.concatenate(volts, axis=1)
            cut = int(np.searchsorted(all_s, begin_s + BLOCK_S))
            cut = min(max(cut, 1), len(all_s) - 1, SAMPLES_MOST)
            yield all_s[:cut], all_v[:, :cut]
            times, volts, begin_s = [all_s[cut:]], [all_v[:, cut:]], float(all_s[cut])
            held = len(all_s) - cut
    if times:
        yield np.concatenate(times), np.concatenate(volts, axis=1)


def _measured(times_s: Floats, volts: Floats) -> _Block:
    floor_v, top_v = np.percentile(volts, (LOW_PERCENT, HIGH_PERCENT))
    return _Block(
        middle_s=0.5 * float(times_s[0] + times_s[-1]),
        floor_v=float(floor_v),
        top_v=float(top_v),
        noise_v=_white(volts) + _hum(times_s, volts),
        least_v=float(volts.min()),
        most_v=float(volts.max()),
        sum_v=float(volts.sum()),
        count=len(volts),
        volts=volts[:: max(len(volts) // 1000, 1)],
    )


def _swing(blocks: list[_Block]) -> Swing:
    middle_s = np.array([one.middle_s for one in blocks])
    floor_v = np.array([one.floor_v for one in blocks])
    top_v = np.array([one.top_v for one in blocks])
    usual = float(np.percentile(top_v - floor_v, 75.0))
    moving = (top_v - floor_v) > MOVING_SHARE * usual
    if moving.any():
        floor_v = np.interp(middle_s, middle_s[moving], floor_v[moving])
        top_v = np.interp(middle_s, middle_s[moving], top_v[moving])
    kept = [one for one, moves in zip(blocks, moving, strict=True) if moves] or blocks
    return Swing(
        middle_s,
        floor_v,
        top_v,
        float(np.median([one.noise_v for one in kept])),
        _between(kept),
        min(one.least_v for one in blocks),
        max(one.most_v for one in blocks),
        sum(one.sum_v for one in blocks) / sum(one.count for one in blocks),
    )


def _white(volts: Floats) -> float:
    """Return the sample-to-sample noise, peak to peak: steady slopes cancel in second differences."""
    if len(volts) < 3:
        return 0.0
    return float(SIGMAS * 1.48 * np.median(np.abs(np.diff(volts, 2))) / np.sqrt(6.0))


def _hum(times_s: Floats, volts: Floats) -> float:
    """Return the mains hum from peak to peak, minus the magnets' part at neighbouring frequencies."""
    if len(volts) < 100 or float(times_s[-1] - times_s[0]) * 3.0 * max(MAINS_HZ) > len(volts):
        return 0.0
    window = np.hanning(len(volts))
    weighted = (volts - volts.mean()) * window / window.sum()

    def amplitude(frequency_hz: float) -> float:
        return 2.0 * abs(complex(np.sum(weighted * np.exp(-2j * np.pi * frequency_hz * times_s))))

    lines = [
        amplitude(mains) - 2.0 * max(amplitude(mains + beside) for beside in BESIDE_HZ) for mains in MAINS_HZ
    ]
    return 2.0 * max(*lines, 0.0)


def _between(blocks: list[_Block]) -> float:
    shares = []
    for one in blocks:
        relative = (one.volts - one.floor_v) / max(one.top_v - one.floor_v, 1e-9)
        shares.append(float(np.mean((relative > BETWEEN[0]) & (relative < BETWEEN[1]))))
    return float(np.median(shares))


def dead_channels(swings: list[Swing]) -> list[bool]:
    """Return for each channel whether it shows no magnets."""
    largest = max(one.usual_v for one in swings)
    return [one.usual_v < max(DEAD_VOLTS, DEAD_SHARE * largest) for one in swings]
