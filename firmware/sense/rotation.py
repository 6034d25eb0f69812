"""From the time between pulses to a rate: rpm of the crank, millimetres a second of the wheel.

Between pulses the rate decays: a pulse that has not come can't be faster than the wait so far. When
the wait grows too long, standstill is latched, long before a time stamp could wrap into "recent".
"""

from firmware.integers import square_root
from firmware.ticks import ticks_diff_us

TEN_US_PER_MINUTE = 6_000_000
TEN_US_PER_SECOND = 100_000
WHEEL_STILL_US = 3_000_000
WHEEL_MAX_MM_PER_S = 27_778  # 100 km/h: a pulse that says more is a bounce.
RISEN = 1
ACCELERATION_MM_PER_S2 = 2_000  # More than legs and a motor of this class reach on the road; judgement.
BRAKING_MM_PER_S2 = 10_000  # More than any bicycle brakes: its rider would go over the handlebar. Judgement.


class Rotation:
    """A rate measured from periods. `scale` is rate times period, the period in tens of microseconds."""

    __slots__ = ("_last_us", "_period_us", "_scale", "_still_us", "standing")

    def __init__(self, scale: int, still_us: int) -> None:
        """Start at a standstill. `scale` 1 to 2**30 - 1, `still_us` 10 to 2**28."""
        self._scale = scale
        self._still_us = still_us
        self._period_us = 10
        self._last_us = 0
        self.standing = True

    def update(self, period_us: int, time_us: int) -> None:
        """Take a period of at least 10 us that ended at `time_us`."""
        self._period_us = period_us
        self._last_us = time_us
        self.standing = False

    def restamp(self, now_us: int) -> None:
        """Treat the last period as ended at `now_us`, because the clock went back."""
        self._last_us = now_us

    def stand(self) -> None:
        """Forget the last period: the rate is 0 until a new one."""
        self.standing = True

    def rate(self, now_us: int) -> int:
        """Return the rate now: of the last period, or of the wait since, whichever is slower."""
        if self.standing:
            return 0
        waited_us = ticks_diff_us(now_us, self._last_us)
        if waited_us > self._still_us:
            self.standing = True
            return 0
        if waited_us < self._period_us:
            waited_us = self._period_us
        return self._scale // (waited_us // 10)


class Wheel:
    """Wheel pulses to speed. Only rising edges count; a pulse that comes sooner than any wheel's is a bounce.

    Read: `speed_mm_per_s`; `late_mm_per_s`, by how much the true speed may differ from it, since it is the
    mean over the last period and the wait since; `steady`, whether the last two periods agree; `overdue`, a
    pulse is missing although no brake stops that soon; `pulsed`, whether this step saw a pulse.
    """

    __slots__ = (
        "_last_us",
        "_late_unseen_mm_per_s",
        "_period_us",
        "_pulse_mm_per_s",
        "_rotation",
        "_running",
        "_shortest_us",
        "_stoppable_mm_per_s",
        "late_mm_per_s",
        "overdue",
        "pulsed",
        "speed_mm_per_s",
        "steady",
    )

    def __init__(self, circumference_mm: int, pulses_per_rev: int) -> None:
        """Start at a standstill. `circumference_mm` 500 to 3000, `pulses_per_rev` 1 to 64."""
        scale = circumference_mm * TEN_US_PER_SECOND // pulses_per_rev
        self._rotation = Rotation(scale, WHEEL_STILL_US)
        self._shortest_us = scale // WHEEL_MAX_MM_PER_S * 10
        spacing_mm = circumference_mm // pulses_per_rev
        # Two pulses from a standstill, v^2 = 2 a s; and the fastest that can stop before the next pulse.
        self._late_unseen_mm_per_s = square_root(4 * ACCELERATION_MM_PER_S2 * spacing_mm)
        self._stoppable_mm_per_s = square_root(2 * BRAKING_MM_PER_S2 * spacing_mm)
        self._last_us = 0
        self._period_us = 0
        self._pulse_mm_per_s = 0
        self._running = False
        self.late_mm_per_s = self._late_unseen_mm_per_s
        self.overdue = False
        self.pulsed = False
        self.speed_mm_per_s = 0
        self.steady = False

    def begin_step(self) -> None:
        """Call once a step, before the edges."""
        self.pulsed = False

    def edge(self, level: int, time_us: int) -> None:
        """Take the next edge of the log: the level after it (0 or 1) and its time."""
        if level != RISEN:
            return
        if self._running:
            period_us = ticks_diff_us(time_us, self._last_us)
            if period_us < self._shortest_us:
                return
            self._rotation.update(period_us, time_us)
            self._judge_accuracy(period_us, time_us)
        self._running = True
        self.overdue = False
        self._last_us = time_us
        self.pulsed = True

    def restamp(self, now_us: int) -> None:
        """Treat the last pulse as one at `now_us`, because the clock went back; the speed decays from it."""
        self._last_us = now_us
        self._rotation.restamp(now_us)

    def settle(self, now_us: int) -> None:
        """Call once a step, after the edges: update the speed, latch a standstill."""
        if not self._running:
            return
        self.speed_mm_per_s = self._rotation.rate(now_us)
        if self._pulse_mm_per_s > self._stoppable_mm_per_s and 2 * self.speed_mm_per_s < self._pulse_mm_per_s:
            self.overdue = True
            self.steady = False
        if self._rotation.standing and ticks_diff_us(now_us, self._last_us) > WHEEL_STILL_US:
            self._running = False
            self.steady = False
            self._pulse_mm_per_s = 0
            self._period_us = 0
            self.late_mm_per_s = self._late_unseen_mm_per_s

    def _judge_accuracy(self, period_us: int, time_us: int) -> None:
        """Compute from a period how well the speed is known."""
        self.steady = abs(period_us - self._period_us) <= self._period_us >> 3
        self._period_us = period_us
        before_mm_per_s = self._pulse_mm_per_s
        self._pulse_mm_per_s = self._rotation.rate(time_us)
        # The period's middle is half a period ago, and up to one more passes before the next pulse.
        late_ms = min(period_us, WHEEL_STILL_US) * 3 // 2000
        late_mm_per_s = late_ms * ACCELERATION_MM_PER_S2 // 1000
        gained_mm_per_s = 2 * abs(self._pulse_mm_per_s - before_mm_per_s) + self._pulse_mm_per_s // 16
        self.late_mm_per_s = min(late_mm_per_s, gained_mm_per_s, self._late_unseen_mm_per_s)
