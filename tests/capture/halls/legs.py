"""How a crank is turned by hand or foot: cadence, swing twice and once a turn, stops, reversals, rocking."""

from dataclasses import dataclass
from math import cos, pi, sin
from random import Random

import numpy as np

from tests.capture.halls.ring import Floats

STEP_S = 0.0005
SPIN_UP_S = 0.6


@dataclass(frozen=True, slots=True)
class Legs:
    """`swing`: of the speed, twice a turn; `lame`: once a turn (a hand on one pedal, one strong leg); shares.

    `wander`: slow changes of cadence, a share. `plan`: what is done, one after the other: ("turn", seconds,
    rpm) with rpm below 0 for backward, ("stand", seconds), ("rock", seconds, degrees to either side).
    """

    plan: tuple[tuple[object, ...], ...] = (("turn", 30.0, 60.0),)
    swing: float = 0.1
    lame: float = 0.0
    wander: float = 0.08
    sharp: float = 0.0


def turned(legs: Legs, seed: int) -> tuple[Floats, Floats]:
    """Return times in seconds and the crank's angle in turns at each of them."""
    random = Random(f"legs {seed}")
    at, speed, drift = random.random(), 0.0, 0.0
    peak, other_peak = random.uniform(0.0, 2.0 * pi), random.uniform(0.0, 2.0 * pi)
    angles = [at]
    for what, seconds, *more in legs.plan:
        steps = round(float(str(seconds)) / STEP_S)
        amount = float(str(more[0])) if more else 0.0
        for step in range(steps):
            if step % 20 == 0:
                drift += -0.02 * drift + random.gauss(0.0, 0.18) * legs.wander
            wanted = 0.0
            if what == "turn":
                wanted = amount / 60.0 * min(max(1.0 + drift, 0.5), 1.6)
            elif what == "rock":
                # To and fro about twice a second, as a foot on a standing crank does.
                wanted = amount / 360.0 * 2.0 * pi * 1.8 * cos(2.0 * pi * 1.8 * step * STEP_S)
            speed += (wanted - speed) * (STEP_S / SPIN_UP_S * 4.0 if what != "rock" else 1.0)
            around = 2.0 * pi * at
            factor = 1.0 + legs.swing * sin(2.0 * around + peak) + legs.lame * sin(around + other_peak)
            factor += legs.sharp * sin(4.0 * around + 2.0 * peak)
            at += speed * (factor if what == "turn" else 1.0) * STEP_S
            angles.append(at)
    return np.arange(len(angles), dtype=np.float64) * STEP_S, np.array(angles)
