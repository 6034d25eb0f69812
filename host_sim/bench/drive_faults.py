"""Faults between command and road: an unplugged motor controller, cut-outs, wheel slip."""

from random import Random

# A slipping wheel spins up and grips again within about a tenth of a second: it is light compared with the
# bicycle. Common practice, no source.
SPIN_UP_M_PER_S2 = 60.0
GRIP_AGAIN_M_PER_S2 = 120.0
SLIDING_SHARE = 0.6  # Share of the force that a sliding tyre still transmits; common practice, no source.
_FORCE_LEAST_N = 1.0  # A smaller force never makes a wheel slip.


class DriveFaults:
    """Set by a fault: `unplugged`, `cuts_per_s` with `cut_us`, `slip_m_per_s`. Read: `active`.

    `slipping_m_per_s` is how much faster the motor's wheel now is than the road, `slipped_m` how much further
    it has turned since the start.
    """

    __slots__ = (
        "_cut_until_us",
        "_random",
        "active",
        "cut_us",
        "cuts_per_s",
        "slip_m_per_s",
        "slipped_m",
        "slipping_m_per_s",
        "unplugged",
    )

    def __init__(self, random: Random) -> None:
        """Start healthy; `random` is shared by the faults of a ride."""
        self._random = random
        self._cut_until_us = 0
        self.slipping_m_per_s = 0.0
        self.slipped_m = 0.0
        self.active = False
        self.heal()

    def heal(self) -> None:
        """End every fault; a slipping wheel soon grips again."""
        self.unplugged = False
        self.cuts_per_s = 0.0
        self.cut_us = 0
        self.slip_m_per_s = 0.0

    def settle(self) -> None:
        """Apply the faults set now."""
        self.active = (
            self.unplugged or self.cuts_per_s > 0.0 or self.slip_m_per_s > 0.0 or self.slipping_m_per_s > 0.0
        )

    def arriving_v(self, command_v: float, now_us: int, elapsed_s: float) -> float:
        """Return the command that reaches the power stage in a step of the plant."""
        if self.unplugged or now_us < self._cut_until_us:
            return 0.0
        if self.cuts_per_s > 0.0 and self._random.random() < self.cuts_per_s * elapsed_s:
            self._cut_until_us = now_us + self.cut_us
            return 0.0
        return command_v

    def slip(self, force_n: float, elapsed_s: float) -> float:
        """Let the wheel slip or grip by the motor's force at the rim; return the force on the road."""
        if self.slip_m_per_s > 0.0 and force_n > _FORCE_LEAST_N:
            faster_m_per_s = self.slipping_m_per_s + SPIN_UP_M_PER_S2 * elapsed_s
            self.slipping_m_per_s = min(faster_m_per_s, self.slip_m_per_s)
        elif self.slipping_m_per_s > 0.0:
            self.slipping_m_per_s = max(self.slipping_m_per_s - GRIP_AGAIN_M_PER_S2 * elapsed_s, 0.0)
            self.settle()
        self.slipped_m += self.slipping_m_per_s * elapsed_s
        return force_n * SLIDING_SHARE if self.slipping_m_per_s > 0.0 else force_n
