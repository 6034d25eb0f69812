"""Whether the rider pedals, and when pedalling stopped, for the engagement table.

The stop gap, the time without a forward edge that means "stopped", is the shortest of three:
(a) the edge gap at the release cadence; (b) a multiple of the last measured pitch time, so that a
stop at a quick cadence is seen within about one pitch; (c) the time that the cut-off distance takes
at the present speed, less the time that the motor controller takes to end its power.
"""

from firmware.sense.crank import US_PER_MINUTE, Crank
from firmware.sense.rotation import TEN_US_PER_MINUTE, Rotation
from firmware.settings import DUTY_CODED, Settings
from firmware.ticks import CONTROL_PERIOD_MS, ticks_diff_us

DISTANCE_GAP_MAX_MS = 10_000  # More than any release gap, and small enough to express in microseconds.


class Pedalling:
    """Facts about pedalling. Read: `cadence_rpm`, `stop_gap_us`, and these four booleans.

    `engages` (enough forward edges, quick enough), `backward`, `stopped` (latched until the next
    forward progress), `slow` (below the release cadence).
    """

    __slots__ = (
        "_backward_edges",
        "_cadence",
        "_cutoff_distance_mm",
        "_engage_edges",
        "_engage_rpm",
        "_engage_speed_mm_per_s",
        "_release_gap_us",
        "_release_rpm",
        "_spent_ms",
        "_stop_pitch_percent",
        "backward",
        "cadence_rpm",
        "engages",
        "slow",
        "stop_gap_us",
        "stopped",
    )

    def __init__(self, settings: Settings) -> None:
        """Start with the crank stopped."""
        pulses = settings.pulses_per_rev
        release_pitch_us = US_PER_MINUTE // (pulses * settings.release_rpm)
        # The direction of a duty-coded ring is known only once per pitch.
        share_permille = 1000 if settings.sensor_kind == DUTY_CODED else settings.edge_gap_permille
        # In tens and hundreds: a pitch may last 3.75 s, and a thousand times that overflows a small int.
        self._release_gap_us = release_pitch_us // 10 * share_permille // 100
        self._cadence = Rotation(TEN_US_PER_MINUTE // pulses, release_pitch_us)
        self._engage_edges = settings.engage_edges
        self._engage_rpm = settings.engage_rpm
        self._release_rpm = settings.release_rpm
        self._backward_edges = settings.backward_edges
        self._stop_pitch_percent = settings.stop_pitch_percent
        self._cutoff_distance_mm = settings.cutoff_distance_mm
        # A stop is seen at the next step, so one period of the cut-off time has passed.
        self._spent_ms = settings.motor_lag_ms + CONTROL_PERIOD_MS
        self._engage_speed_mm_per_s = settings.engage_speed_mm_per_s
        self.cadence_rpm = 0
        self.stop_gap_us = self._release_gap_us
        self.engages = False
        self.backward = False
        self.stopped = True
        self.slow = True

    def step(self, crank: Crank, speed_mm_per_s: int, now_us: int) -> None:
        """Update all facts from the crank, the speed and the time."""
        if crank.pitch_us == 0:
            self._cadence.stand()
        elif crank.pitch_measured:
            self._cadence.update(crank.pitch_us, crank.pitch_edge_us)
        self.cadence_rpm = self._cadence.rate(now_us)
        self.stop_gap_us = self._stop_gap_us(crank.pitch_us, speed_mm_per_s)
        if crank.ground_gained:
            self.stopped = False
        if not self.stopped and ticks_diff_us(now_us, crank.last_forward_us) > self.stop_gap_us:
            self.stopped = True
            crank.forget_run()
        self.backward = crank.backward_run >= self._backward_edges
        self.slow = self.cadence_rpm < self._release_rpm
        self.engages = (
            not self.stopped
            and crank.forward_run >= self._engage_edges
            and self.cadence_rpm >= self._engage_rpm
            and speed_mm_per_s >= self._engage_speed_mm_per_s
        )

    def stop(self) -> None:
        """Latch that pedalling has stopped, until the next forward progress."""
        self.stopped = True

    def _stop_gap_us(self, pitch_us: int, speed_mm_per_s: int) -> int:
        gap_us = self._release_gap_us
        if pitch_us > 0:
            # Divided first: 400 times a pitch of 3.75 s overflows a small int.
            pitches_us = pitch_us // 100 * self._stop_pitch_percent
            if pitches_us < gap_us:
                gap_us = pitches_us
        if speed_mm_per_s > 0:
            left_ms = self._cutoff_distance_mm * 1000 // speed_mm_per_s - self._spent_ms
            if left_ms <= 0:
                return 0
            if left_ms < DISTANCE_GAP_MAX_MS and left_ms * 1000 < gap_us:
                return left_ms * 1000
        return gap_us
