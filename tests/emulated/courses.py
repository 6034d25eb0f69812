"""Edges for the emulated Pico's pins: a crank of two channels, a wheel, a brake, interference."""

from random import Random

Edges = list[tuple[float, int, int]]
S = 1_000_000.0
CRANK_A, CRANK_B, WHEEL, BRAKE = 2, 3, 4, 5  # boards/rpi_pico/pins.py


def crank(start_us: float, end_us: float, rpm: float, pulses: int) -> Edges:
    """Turn forward, channel A leading: 48 % duty, B a bit less than a quarter of a pitch behind."""
    pitch_us = 60e6 / rpm / pulses
    edges = []
    for turn in range(int((end_us - start_us) / pitch_us) + 1):
        for share, pin, level in ((0.0, 2, 1), (0.233, 3, 1), (0.48, 2, 0), (0.713, 3, 0)):
            edges.append((start_us + (turn + share) * pitch_us, pin, level))
    return [edge for edge in edges if edge[0] <= end_us]


def wheel(start_us: float, end_us: float, m_per_s: float, way_m: float) -> Edges:
    """Give a pulse each `way_m`."""
    period_us = way_m / m_per_s * 1e6
    count = int((end_us - start_us) / period_us)
    times = [start_us + number * period_us for number in range(count)]
    return [edge for time in times for edge in ((time, WHEEL, 0), (time + period_us * 0.3, WHEEL, 1))]


def noise(start_us: float, end_us: float, edges_a_second: float, pin: int, seed: int) -> Edges:
    """Let a pin change at random times."""
    draw = Random(seed)
    edges, time_us, level = [], start_us, 0
    while time_us < end_us:
        time_us += draw.expovariate(edges_a_second) * 1e6
        level ^= 1
        edges.append((time_us, pin, level))
    return edges


TRIKE_WAY_M = 1.89 / 6
STARTED_US, BRAKED_US = 2.9 * S, 6.0 * S
RIDE: Edges = [
    *crank(STARTED_US, 4.6 * S, 60, 10),
    *crank(5.1 * S, 6.4 * S, 60, 10),
    *wheel(2.0 * S, 6.6 * S, 4.0, TRIKE_WAY_M),
    (BRAKED_US, BRAKE, 1),
]
"""Coast, pedal at 60 rpm, stop, pedal again, brake."""

FAST: Edges = [*crank(2.0 * S, 3.6 * S, 120, 24), *wheel(1.9 * S, 3.8 * S, 6.0, TRIKE_WAY_M)]
"""24 pulses a turn at 120 rpm: 192 edges a second, and the wheel's."""

NOISE: Edges = [
    *crank(2.0 * S, 3.2 * S, 60, 10),
    *wheel(1.9 * S, 4.2 * S, 4.0, TRIKE_WAY_M),
    *noise(3.2 * S, 4.0 * S, 1_000, CRANK_B, 4),
]
"""Pedal, then 1,000 edges a second of interference on channel B."""

BRAKES_US = [3.9 * S + 450_250.0 * number for number in range(20)]
BRAKES: Edges = [
    *crank(STARTED_US, 13.0 * S, 60, 10),
    *wheel(2.0 * S, 13.0 * S, 4.0, TRIKE_WAY_M),
    *[edge for at in BRAKES_US for edge in ((at, BRAKE, 1), (at + 60_000, BRAKE, 0))],
]
"""Pedal on, and brake for a moment: each time 0.25 ms further from the beginning of a period."""
