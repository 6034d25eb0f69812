"""A simulated person who turns the crank as a guided capture asks; magnets are of `tests.capture.halls`."""

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from host_sim.capture.live.guide import Edge, Item, Lost, Moment
from tests.capture.halls.ring import Magnets, crossing, switched

STEP_S = 0.0005
MOMENT_S = 0.005


@dataclass(frozen=True, slots=True)
class GuidedTurns:
    """`arm` is the ring's place with the arm down, in turns. `turns` one after the other, below 0 back.

    `wires`: "", "swapped", "dead-a" or "dead-b". `lost_at_s`: steps are missing there; -1: none are.
    """

    ring: Magnets
    arm: float = 0.3
    turns: tuple[float, ...] = (6.0, -2.0)
    rpm: float = 45.0
    b_leads: bool = False
    wires: str = ""
    lost_at_s: float = -1.0
    swing: float = 0.1


def angle_of(rider: GuidedTurns) -> tuple[np.ndarray, np.ndarray]:
    """Return times in seconds and turns from the arm straight down."""
    pieces = [np.zeros(round(2.5 / STEP_S))]
    for turns in rider.turns:
        seconds = abs(turns) / rider.rpm * 60.0 * 1.15
        share = np.linspace(0.0, 1.0, round(seconds / STEP_S))
        ends = 0.06  # Setting off and stopping.
        eased = np.interp(share, (0.0, ends, 1.0 - ends, 1.0), (0.0, 0.3, 0.3, 0.0)) + 0.02
        way = np.cumsum(eased / eased.sum()) * abs(turns)
        way += (
            rider.swing
            / (4.0 * np.pi)
            * (1.0 - np.cos(4.0 * np.pi * way))
            * np.minimum(1.0, 20.0 * share * (1.0 - share))
        )
        way = np.maximum.accumulate(way)
        pieces.append(pieces[-1][-1] + np.sign(turns) * way)
        pieces.append(np.full(round(3.0 / STEP_S), pieces[-1][-1]))
    turned = np.concatenate(pieces)
    return np.arange(len(turned)) * STEP_S, turned


def items(rider: GuidedTurns) -> Iterator[Item]:
    """Yield the stream as from a board: edges, and a moment every 5 ms."""
    times_s, turned = angle_of(rider)
    pitches = (turned + rider.arm) * rider.ring.count
    flips: list[tuple[float, int]] = []
    levels = 0
    for channel in (0, 1):
        seen = rider.ring.field_at(pitches, channel)
        places, first = switched(seen)
        bit = 1 << (channel ^ int(rider.b_leads != (rider.wires == "swapped")))
        if rider.wires == "dead-" + "ab"[bit - 1]:
            continue
        levels |= bit * first
        flips += [(float(at), bit) for at in crossing(times_s, seen, places, first)]
    now_s, lost = 0.0, rider.lost_at_s
    for at_s, bit in sorted(flips):
        while now_s < at_s:
            yield Moment(now_s)
            now_s += MOMENT_S
            if 0.0 <= lost <= now_s:
                yield Lost(4)
                lost = -1.0
        levels ^= bit
        yield Edge(at_s, levels)
    while now_s < times_s[-1]:
        yield Moment(now_s)
        now_s += MOMENT_S


def true_arm_deg(rider: GuidedTurns) -> float:
    """Return by how many degrees the crank turns from the arm down until the leading pickup sees a magnet."""
    turned = np.linspace(0.0, 1.0, 200_001)
    seen = rider.ring.field_at((turned + rider.arm) * rider.ring.count, 0)
    places, first = switched(seen)
    return float(360.0 * turned[places[first]])
