"""A wheel, its magnets and its pickup; speeds in km/h, places in turns."""

from collections.abc import Iterator
from dataclasses import dataclass
from random import Random

import numpy as np

from host_sim.capture.edges import EdgeChunk

STEP_S = 0.001
# Seconds and speeds, linear in between: a start, fast riding, a stop, another start.
RIDE = (
    (0.0, 0.0),
    (2.0, 0.0),
    (12.0, 25.0),
    (40.0, 30.0),
    (48.0, 12.0),
    (60.0, 18.0),
    (66.0, 0.0),
    (70.0, 0.0),
)
PUSH = ((0.0, 0.0), (1.0, 0.0), (3.0, 4.0), (18.0, 5.0), (20.0, 0.0))


@dataclass(frozen=True, slots=True)
class Spin:
    """What is recorded. `magnets` in a turn, up to `uneven` of a pitch off their places; `gone` is missing.

    `wide_m`: how much of the way a magnet takes. `lost_above_km_per_h`, `lost_share`: pulses lost there.
    `bounced_below_km_per_h`: contacts that open again for some ms. `noise_per_s` while the motor drives
    (`driven`: from and to, seconds) and `idle_noise_per_s` all the time. `drive_wire`: B tells of driving.
    """

    magnets: int = 1
    uneven: float = 0.03
    gone: int = 0
    around_m: float = 2.1
    wide_m: float = 0.03
    course: tuple[tuple[float, float], ...] = RIDE
    turns: float = 0.0
    lost_above_km_per_h: float = 1000.0
    lost_share: float = 0.3
    bounced_below_km_per_h: float = -1.0
    noise_per_s: float = 0.0
    idle_noise_per_s: float = 0.0
    driven: tuple[tuple[float, float], ...] = ((5.0, 14.0), (25.0, 32.0))
    drive_wire: bool = False
    low_active: bool = False
    seed: int = 1


def edges_of_wheel(spin: Spin) -> EdgeChunk:
    """Return the edges as a file reader does."""
    random = Random(f"wheel {spin.seed}")
    times_s, turns = _turned(spin, random)
    changes: list[tuple[float, int, int]] = []
    for begin_s, end_s, km_per_h in _passes(spin, times_s, turns, random):
        if km_per_h > spin.lost_above_km_per_h and random.random() < spin.lost_share:
            continue
        changes += [(begin_s, 0, 1), (end_s, 0, 0)]
        if km_per_h < spin.bounced_below_km_per_h:
            open_s = begin_s + (end_s - begin_s) * random.uniform(0.3, 0.5)
            changes += [(open_s, 0, 0), (open_s + (end_s - begin_s) * random.uniform(0.1, 0.2), 0, 1)]
    changes += _noise(spin, float(times_s[-1]), random)
    if spin.drive_wire:
        changes += [(at, 1, level) for pair in spin.driven for at, level in zip(pair, (1, 0), strict=True)]
    return _chunk(changes, spin, float(times_s[-1]))


def source_of(spin: Spin) -> Iterator[EdgeChunk]:
    """Yield the edges once."""
    return iter([edges_of_wheel(spin)])


def _turned(spin: Spin, random: Random) -> tuple[np.ndarray, np.ndarray]:
    seconds, speeds = zip(*spin.course, strict=True)
    times_s = np.arange(0.0, seconds[-1], STEP_S)
    rough = np.interp(times_s, seconds, speeds)
    # A rider's legs: some per cent about twice a second.
    rough = rough * (1.0 + 0.02 * np.sin(2.0 * np.pi * 2.1 * times_s + random.random()))
    turns = np.cumsum(rough) / 3.6 / spin.around_m * STEP_S
    if spin.turns:
        turns = turns * spin.turns / turns[-1]
    return times_s, turns + random.random()


def _passes(
    spin: Spin, times_s: np.ndarray, turns: np.ndarray, random: Random
) -> Iterator[tuple[float, float, float]]:
    half = 0.5 * spin.wide_m / spin.around_m
    off = [random.uniform(-spin.uneven, spin.uneven) / spin.magnets for _ in range(spin.magnets)]
    places = [
        turn + number / spin.magnets + off[number]
        for turn in range(int(turns[0]) - 1, int(turns[-1]) + 2)
        for number in range(spin.magnets)
        if number + 1 != spin.gone
    ]
    inside = np.array([place for place in places if turns[0] < place - half and place + half < turns[-1]])
    begins_s = np.interp(inside - half, turns, times_s).tolist()
    ends_s = np.interp(inside + half, turns, times_s).tolist()
    for begin_s, end_s in zip(begins_s, ends_s, strict=True):
        yield begin_s, end_s, 3.6 * spin.wide_m / max(end_s - begin_s, 1e-9)


def _noise(spin: Spin, seconds: float, random: Random) -> list[tuple[float, int, int]]:
    spans = [(begin, end, spin.noise_per_s) for begin, end in spin.driven]
    spans.append((0.01, seconds - 0.01, spin.idle_noise_per_s))
    changes: list[tuple[float, int, int]] = []
    for begin, end, rate in spans:
        for _ in range(round(rate * (end - begin))):
            at = random.uniform(begin, end)
            changes += [(at, 0, 2), (at + random.uniform(20e-6, 600e-6), 0, 3)]
    return changes


def _chunk(changes: list[tuple[float, int, int]], spin: Spin, seconds: float) -> EdgeChunk:
    """Put changes in order; 2 and 3 begin and end a pulse of noise, which inverts the level."""
    level = {0: 0, 1: 0}
    turned_round = 0
    times, levels = [0], [int(spin.low_active)]
    for at_s, wire, value in sorted(changes):
        if value in (2, 3):
            turned_round += 1 if value == 2 else -1
        else:
            level[wire] = value
        a = level[0] ^ int(turned_round > 0) ^ int(spin.low_active)
        word = a | level[1] << 1
        at_us = round(at_s * 1e6)
        if word != levels[-1] and at_us * 1000 > times[-1]:
            times.append(at_us * 1000)
            levels.append(word)
    times.append(max(round(seconds * 1e9), times[-1] + 1000))
    levels.append(levels[-1])
    return EdgeChunk(np.array(times, np.int64), np.array(levels, np.uint8))
