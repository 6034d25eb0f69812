"""Detects a magnet that the pedal sensor missed, from the levels in every frame.

There is a sample of the levels in each control period (5 ms), so the pitch from one rising edge of channel A
to the next is known to about one period. If a magnet is missed, one pitch is twice (for two magnets, three
times) as long as the two before and the two after it. Limits:

* pitches shorter than 4 periods (20 ms: 12 magnets at 250 rpm, 32 magnets at 94 rpm) are not evaluated;
* the four neighbours must agree with each other, so nothing is reported while the rider speeds up or slows
  down;
* a rider who pauses for one or two pitches looks the same. A magnet that is really missing is missed at the
  same place in each turn, so such repetitions are counted too (`repeated`);
* two gaps within three pitches of each other are not reported, because neither has even neighbours;
* frames that report a late step are not evaluated: a magnet may have passed between two samples;
* channel B alone is not evaluated. `treadle inspect` evaluates both channels, and the whole ring.
"""

from collections import deque
from statistics import median

CHANNEL_A = 1
SHORTEST_PERIODS = 4
# Relative to the neighbours' median: 2 x 0.8 and 3 x 1.13, the limits of uneven pedalling.
LEAST_SHARE = 1.6
LARGEST_SHARE = 3.4
SPREAD_SHARE = 0.4
SPREAD_PERIODS = 2  # By sampling, even pitches may differ by this.
_MIDDLE = 2


class MissedMagnets:
    """Processes a sample of the levels for each control period. Public: `count`, `repeated`.

    `pulses_per_rev` may be set; 0 means unknown, and then no repetition is counted.
    """

    def __init__(self) -> None:
        """Start without a sample."""
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
        """Process the next sample (None if it is missing); return how many missed magnets it shows.

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
