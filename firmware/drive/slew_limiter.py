"""Limit how fast the command voltage may change.

A step in command voltage is a step in wheel torque: the rider feels a jerk and the
drivetrain takes the shock. The command therefore rises slowly for comfort and falls
quickly for safety. A cut (brake, fault, stop of pedalling) does not wait for the fall
rate: it calls `reset(0, now_us)`.
"""

from firmware.ticks import ticks_diff_us

RATE_MAX_MV_PER_S = 10_000
ELAPSED_MAX_US = 100_000  # A longer gap counts as this much, so a stall cannot buy a jump.
_NV_PER_MV = 1_000_000


class SlewLimiter:
    """A command voltage that follows its target no faster than its two rates."""

    __slots__ = ("_carry_nv", "_fall_mv_per_s", "_last_us", "_rise_mv_per_s", "command_mv")

    def __init__(self, rise_mv_per_s: int, fall_mv_per_s: int, now_us: int) -> None:
        """Start at 0 mV. Rates run from 1 to RATE_MAX_MV_PER_S, else ValueError."""
        for name, rate in (("rise_mv_per_s", rise_mv_per_s), ("fall_mv_per_s", fall_mv_per_s)):
            if not 1 <= rate <= RATE_MAX_MV_PER_S:
                raise ValueError(f"{name} must be 1 to {RATE_MAX_MV_PER_S}, got {rate}")
        self._rise_mv_per_s = rise_mv_per_s
        self._fall_mv_per_s = fall_mv_per_s
        self.reset(0, now_us)

    def reset(self, command_mv: int, now_us: int) -> None:
        """Jump to `command_mv` at once."""
        self.command_mv = command_mv
        self._carry_nv = 0
        self._last_us = now_us

    def step(self, target_mv: int, now_us: int) -> int:
        """Move towards `target_mv` (0 to 5_000), never past it, and return the command.

        Time that runs backwards counts as none. Allocates nothing. Raises nothing.
        """
        rising = target_mv > self.command_mv
        return self._move(target_mv, self._rise_mv_per_s if rising else self._fall_mv_per_s, now_us)

    def seek(self, target_mv: int, rate_mv_per_s: int, now_us: int) -> int:
        """Rise towards `target_mv` at `rate_mv_per_s` (1 to RATE_MAX_MV_PER_S) where that is quicker."""
        if target_mv <= self.command_mv:
            return self.step(target_mv, now_us)
        return self._move(target_mv, max(rate_mv_per_s, self._rise_mv_per_s), now_us)

    def _move(self, target_mv: int, rate_mv_per_s: int, now_us: int) -> int:
        elapsed_us = ticks_diff_us(now_us, self._last_us)
        self._last_us = now_us
        if elapsed_us < 0:
            elapsed_us = 0
        elif elapsed_us > ELAPSED_MAX_US:
            elapsed_us = ELAPSED_MAX_US
        # mV/s times us is nV. What is below 1 mV is carried, so short steps lose nothing.
        budget_nv = self._carry_nv + rate_mv_per_s * elapsed_us
        allowed_mv = budget_nv // _NV_PER_MV
        if abs(target_mv - self.command_mv) <= allowed_mv:
            self.command_mv = target_mv
            self._carry_nv = 0
        else:
            self.command_mv += allowed_mv if target_mv > self.command_mv else -allowed_mv
            self._carry_nv = budget_nv - allowed_mv * _NV_PER_MV
        return self.command_mv
