"""Which channel leads: from seconds known to be forward, or as a guess, because people pedal forward.

If the wires are exchanged during the capture, the crank seems to turn the other way from then on.
"""

from itertools import pairwise

import numpy as np

from host_sim.capture.findings import CAN_NOT_TELL, Finding
from host_sim.capture.stretches import Stretch
from host_sim.capture.ways import Way

LONG_PEDALLING_S = 60.0  # Nobody pedals backward for a minute at 30 rpm and more; common practice, no source.
LONG_PEDALLING_RPM = 30.0
TURNED_S = 4.0  # Nobody turns the crank back for so long to set off.


def forward_of(
    stretches: list[Stretch], forward_s: tuple[float, float] | None, main: int
) -> tuple[int, float]:
    """Return the direction of the seconds that the user gave as forward, 0 if unknown, and the confidence."""
    if forward_s is None or main == 0:
        return 0, 0.0
    begin_s, end_s = forward_s
    passed = {1: 0, -1: 0}
    for stretch in stretches:
        inside = (stretch.rises_s >= begin_s) & (stretch.rises_s <= end_s)
        passed[stretch.direction] += int(np.count_nonzero(inside))
    both = passed[1] + passed[-1]
    if both < 4:
        return 0, 0.0
    share = max(passed.values()) / both
    return (1 if passed[1] > passed[-1] else -1), (0.99 if share > 0.9 else 0.7 if share > 0.7 else 0.4)


def lead_of(kind: Finding[str], way: Way, forward: int, confidence: float, median_rpm: float) -> Finding[str]:
    """Return the channel that leads if `forward` is the forward direction, with its confidence.

    `forward` 0: unknown; then a long time of pedalling one way, at `median_rpm`, gives a guess.
    """
    if kind.value != "two channels":
        return CAN_NOT_TELL
    if forward == 0:
        return _by_habit(way.stretches, way.main, median_rpm)
    return Finding("A" if forward > 0 else "B", confidence)


def _by_habit(stretches: list[Stretch], main: int, median_rpm: float) -> Finding[str]:
    """Guess from a long time of pedalling one way."""
    lasting_s = {1: 0.0, -1: 0.0, 0: 0.0}
    for stretch in stretches:
        lasting_s[stretch.direction] += float(stretch.rises_s[-1] - stretch.rises_s[0])
    share = lasting_s[main] / max(sum(lasting_s.values()), 1e-9)
    if main and lasting_s[main] >= LONG_PEDALLING_S and share > 0.9 and median_rpm >= LONG_PEDALLING_RPM:
        return Finding("A" if main > 0 else "B", 0.8)
    return CAN_NOT_TELL


def turned_at(stretches: list[Stretch]) -> list[float]:
    """Return when the crank began to turn the other way for TURNED_S or more, seconds of the capture."""
    lasting = [one for one in stretches if float(one.rises_s[-1] - one.rises_s[0]) >= TURNED_S]
    return [float(two.rises_s[0]) for one, two in pairwise(lasting) if one.direction * two.direction < 0]
