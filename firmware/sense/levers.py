"""Throttle and selector voltages to shares, with plausibility.

Both are voltage dividers whose wire is pulled down at the controller: a broken wire reads below the
window, a wire that touches its supply reads above it. Outside the window the share is 0.
"""

from firmware.integers import rising_permille
from firmware.settings import SELECTOR_ABSENT, SELECTOR_PROPORTIONAL, Settings


class Throttle:
    """The hand control. Read: `share_permille`, `wire_open`, `wire_shorted`, `rest_seen`.

    The share stays 0 until the throttle has been seen at rest since power-up.
    """

    __slots__ = (
        "_fitted",
        "_full_mv",
        "_open_mv",
        "_rest_mv",
        "_short_mv",
        "rest_seen",
        "share_permille",
        "wire_open",
        "wire_shorted",
    )

    def __init__(self, settings: Settings) -> None:
        """Start at share 0, rest not seen."""
        self._fitted = settings.throttle_fitted == 1
        self._open_mv = settings.throttle_open_mv
        self._rest_mv = settings.throttle_rest_mv
        self._full_mv = settings.throttle_full_mv
        self._short_mv = settings.throttle_short_mv
        self.share_permille = 0
        self.wire_open = False
        self.wire_shorted = False
        self.rest_seen = not self._fitted

    def step(self, throttle_mv: int) -> None:
        """Take this step's voltage, 0 to 5000 mV."""
        if not self._fitted:
            return
        self.wire_open = throttle_mv < self._open_mv
        self.wire_shorted = throttle_mv > self._short_mv
        if self.wire_open or self.wire_shorted:
            self.share_permille = 0
        elif throttle_mv <= self._rest_mv:
            self.rest_seen = True
            self.share_permille = 0
        elif self.rest_seen:
            self.share_permille = rising_permille(throttle_mv, self._rest_mv, self._full_mv)


class Selector:
    """The auxiliary switch or potentiometer. Read: `share_permille`, `position`, the wire faults.

    With N positions the voltage range is cut into N - 1 equal steps with a position at each end; a
    neighbour is taken only when the voltage is nearer to it by a quarter of a step, so a voltage on
    the border does not flicker. Without a selector the share is 1000.
    """

    __slots__ = (
        "_high_mv",
        "_low_mv",
        "_open_mv",
        "_positions",
        "_shares_permille",
        "_short_mv",
        "position",
        "share_permille",
        "wire_open",
        "wire_shorted",
    )

    def __init__(self, settings: Settings) -> None:
        """Start at share 0, or at 1000 for good if there is no selector."""
        self._positions = settings.selector_positions
        self._open_mv = settings.selector_open_mv
        self._low_mv = settings.selector_low_mv
        self._high_mv = settings.selector_high_mv
        self._short_mv = settings.selector_short_mv
        self._shares_permille = [
            settings.share_1_permille,
            settings.share_2_permille,
            settings.share_3_permille,
            settings.share_4_permille,
            settings.share_5_permille,
            settings.share_6_permille,
        ]
        self.position = 0
        self.share_permille = 1000 if self._positions == SELECTOR_ABSENT else 0
        self.wire_open = False
        self.wire_shorted = False

    def step(self, selector_mv: int) -> None:
        """Take this step's voltage, 0 to 5000 mV."""
        if self._positions == SELECTOR_ABSENT:
            return
        self.wire_open = selector_mv < self._open_mv
        self.wire_shorted = selector_mv > self._short_mv
        if self.wire_open or self.wire_shorted:
            self.share_permille = 0
            return
        turned_permille = rising_permille(selector_mv, self._low_mv, self._high_mv)
        if self._positions == SELECTOR_PROPORTIONAL:
            self.share_permille = turned_permille
            return
        # In thousandths of a step, so that position p is at p * 1000.
        turned = turned_permille * (self._positions - 1)
        if abs(turned - self.position * 1000) > 750:
            self.position = (turned + 500) // 1000
        self.share_permille = self._shares_permille[self.position]
