"""Detects a magnet that the pedal sensor missed, from the levels in every frame.

The levels come once in each control period (5 ms), so the pitch from one rising edge of channel A to
the next is known to about one period. Where a magnet is missed, one pitch is twice (or, for two magnets,
three times) as long as the two before and the two after it. Limits:

* pitches shorter than 4 periods (20 ms: 12 magnets at 250 rpm, 32 magnets at 94 rpm) are not evaluated; * the
four neighbours must agree with each other, so nothing is reported while the rider speeds up or slows down; *
a foot that rests for just one or two pitches and then continues looks the same. A magnet that is really
missing is missed at the same place in each turn, so those are counted too (`repeated`); * two gaps within
three pitches of each other are not reported, as neither has even neighbours; * frames that report a late step
are not evaluated: a magnet may have passed between two samples; * channel B alone is not evaluated. `treadle
inspect` evaluates both, and the whole ring.
"""

from collections import deque
from statistics import median

CHANNEL_A = 1
SHORTEST_PERIODS = 4
# In shares of the neighbours' median: two times 0.8 and three times 1.15, the limits of uneven pedalling.
LEAST_SHARE = 1.6
LARGEST_SHARE = 3.4
SPREAD_SHARE = 0.4
SPREAD_PERIODS = 2  # The effect of sampling on an even pitch.
_MIDDLE = 2


class MissedMagnets:
    """Processes one sample of the levels in each control period. Read: `count`, `repeated`."""

    def __init__(self) -> None:
        """Start with an unknown crank. `pulses_per_rev` is 0 while it is unknown."""
        self.count = 0
        self.repeated = 0
        self.pulses_per_rev = 0
        self._missed_at: int | None = None
        self._direction = "standing"
        self._high: int | None = None
        self._counting = False
        self._periods = 0
        self._pitches: deque[int] = deque(maxlen=2 * _MIDDLE + 1)
        self._place = 0

    def take(self, levels: int | None, direction: str) -> int:
        """Process the next sample (None if one is missing); return how many missed magnets it reveals.

        `direction` is that of the frame: "forward", "backward" or "standing".
        """
        if levels is None or direction == "standing" or direction != self._direction:
            self._forget()
            self._direction = direction
        if levels is None:
            return 0
        high = levels & CHANNEL_A
        rising = high and self._high == 0
        self._high = high
        self._periods += 1
        if not rising:
            return 0
        if self._counting:
            self._pitches.append(self._periods)
        self._counting = True
        self._periods = 0
        return self._judge() if len(self._pitches) == self._pitches.maxlen else 0

    def _forget(self) -> None:
        self._high = None
        self._counting = False
        self._periods = 0
        self._pitches.clear()
        self._place = 0
        self._missed_at = None

    def _judge(self) -> int:
        """Compare the pitch in the middle with its four neighbours."""
        neighbours = [pitch for at, pitch in enumerate(self._pitches) if at != _MIDDLE]
        usual = median(neighbours)
        self._place += 1
        spread = max(neighbours) - min(neighbours)
        share = self._pitches[_MIDDLE] / usual
        if usual < SHORTEST_PERIODS or spread > max(SPREAD_PERIODS, SPREAD_SHARE * usual):
            return 0
        if not LEAST_SHARE <= share <= LARGEST_SHARE:
            return 0
        missed = 2 if share > 2.5 else 1
        self._place += missed
        self.count += missed
        if self._missed_at is not None and self.pulses_per_rev:
            if (self._place - self._missed_at) % self.pulses_per_rev == 0:
                self.repeated += 1
        self._missed_at = self._place
        return missed
