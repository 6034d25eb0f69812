"""The microcontroller's clock: whole microseconds that wrap, and the ways in which it can go wrong."""

from firmware.ticks import TICKS_MAX_US


class BoardClock:
    """The time that the microcontroller reads. Set by a fault: `percent` of the true pace, `jump_us`.

    The jump happens once, when its fault begins.
    """

    __slots__ = ("_at_start_us", "_even", "_from_us", "_percent", "_shown_us", "jump_us", "percent")

    def __init__(self, at_start_us: int) -> None:
        """Show `at_start_us` (0 to TICKS_MAX_US) at time 0."""
        self._at_start_us = at_start_us
        self._even = True
        self._from_us = 0
        self._shown_us = at_start_us
        self._percent = 100
        self.heal()

    def heal(self) -> None:
        """Let the clock continue from its present time at the true pace."""
        self.percent = 100
        self.jump_us = 0

    def settle(self, now_us: int, jump_before_us: int) -> None:
        """Apply the faults set at `now_us`; `jump_before_us` is the previous `jump_us`."""
        jump_us = self.jump_us if self.jump_us != jump_before_us else 0
        if jump_us == 0 and self.percent == self._percent:
            return
        self._shown_us = (self.ticks_us(now_us) + jump_us) & TICKS_MAX_US
        self._from_us = now_us
        self._percent = self.percent
        self._even = self.percent == 100
        self._at_start_us = (self._shown_us - now_us) & TICKS_MAX_US

    def ticks_us(self, time_us: int) -> int:
        """Return what the clock shows at `time_us`, in microseconds since the start of the ride."""
        if self._even:
            return (time_us + self._at_start_us) & TICKS_MAX_US
        return (self._shown_us + (time_us - self._from_us) * self._percent // 100) & TICKS_MAX_US
