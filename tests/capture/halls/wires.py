"""From turning magnets to the edges that a recorder keeps: bounce, noise, dead wires, a clock."""

from collections.abc import Iterator
from dataclasses import dataclass, field, replace
from random import Random

import numpy as np

from host_sim.capture.edges import EdgeChunk
from tests.capture.halls.legs import Legs, turned
from tests.capture.halls.ring import Floats, Magnets, crossing, switched

FINER = 3  # Samples of the field between two steps of the legs.


@dataclass(frozen=True, slots=True)
class Capture:
    """What is recorded. `later`: from how many seconds on another ring passes, a magnet having fallen off.

    `channels` 2, or 1 for a sensor with one wire. `dead`: channels (0, 1) whose wire carries nothing.
    `noise_per_s` pulses of 0.05 to 1.5 ms on each channel; `bounce`: contacts that bounce at each edge.
    `b_leads`: the two wires change places. `low_active`: the part is low over a magnet.
    """

    ring: Magnets
    legs: Legs = field(default_factory=Legs)
    seed: int = 1
    channels: int = 2
    dead: tuple[int, ...] = ()
    noise_per_s: float = 0.0
    bounce: bool = False
    b_leads: bool = False
    low_active: bool = False
    clock_ns: int = 1000
    later: tuple[float, Magnets] | None = None


def edges_of(capture: Capture) -> tuple[EdgeChunk, float]:
    """Return the edges, and the turns forward minus backward."""
    times_s, turns = turned(capture.legs, capture.seed)
    fine_s = np.linspace(times_s[0], times_s[-1], FINER * (len(times_s) - 1) + 1)
    fine = np.interp(fine_s, times_s, turns)
    flips: list[tuple[Floats, int]] = []
    for channel in range(capture.channels):
        seen = capture.ring.field_at(fine * capture.ring.count, channel)
        if capture.later is not None:
            after = fine_s >= capture.later[0]
            seen[after] = capture.later[1].field_at(fine[after] * capture.ring.count, channel)
        places, first = switched(seen)
        when = crossing(fine_s, seen, places, first)
        if channel in capture.dead:
            when, first = np.zeros(0), 1
        flips.append(
            _spoiled(when, first, float(fine_s[-1]), replace(capture, seed=capture.seed * 2 + channel))
        )
    if capture.b_leads:
        flips = flips[::-1]
    return _joined(flips, capture), float(turns[-1] - turns[0])


def source_of(chunk: EdgeChunk) -> Iterator[EdgeChunk]:
    """Yield the edges as a file reader does."""
    return iter([chunk])


def _spoiled(when_s: Floats, first: int, seconds: float, capture: Capture) -> tuple[Floats, int]:
    random = Random(f"wire {capture.seed}")
    added: list[float] = []
    if capture.bounce:
        for at in when_s:
            last = float(at)
            for _ in range(random.randint(1, 4)):
                gone = last + random.uniform(20e-6, 250e-6)
                last = gone + random.uniform(20e-6, 250e-6)
                added += [gone, last]
    for _ in range(round(capture.noise_per_s * seconds)):
        at = random.uniform(0.01, seconds - 0.01)
        added += [at, at + random.uniform(50e-6, 1.5e-3)]
    return np.sort(np.concatenate((when_s, np.array(added)))), first


def _joined(flips: list[tuple[Floats, int]], capture: Capture) -> EdgeChunk:
    events = sorted(
        (round(at * 1e9 / capture.clock_ns) * capture.clock_ns, bit)
        for bit, (when_s, _) in enumerate(flips)
        for at in when_s.tolist()
    )
    level = sum(first << bit for bit, (_, first) in enumerate(flips))
    flip_all = (1 << len(flips)) - 1 if capture.low_active else 0
    times, levels = [0], [level ^ flip_all]
    for at, bit in events:
        level ^= 1 << bit
        if at == times[-1]:
            levels[-1] = level ^ flip_all
        else:
            times.append(at)
            levels.append(level ^ flip_all)
    changed = np.append(True, np.diff(levels) != 0)
    return EdgeChunk(np.array(times, np.int64)[changed], np.array(levels, np.uint8)[changed])


def first_magnet(capture: Capture) -> int:
    """Return the magnet (from 1) that the leading pickup sees first: the capture's magnet 1."""
    _, turns = turned(capture.legs, capture.seed)
    pickup = 1 if capture.dead == (0,) else 0
    pitches = turns * capture.ring.count
    seen = capture.ring.field_at(pitches, pickup)
    places, first = switched(seen)
    place = places[first]
    return int(np.round(pitches[place] - 0.5 - pickup * capture.ring.phase + 0.1)) % capture.ring.count + 1
