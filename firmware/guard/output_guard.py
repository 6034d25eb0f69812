"""The last gate before the output. It trusts nothing that was decided before it.

From the raw inputs, the raw edges and the time alone it decides whether any drive can be right at
all, and passes a command or not. It shares no code of sense, decide or drive and no state with
them; it may only lower a command. Its limits are looser than theirs: what it stops is a mistake of theirs.
"""

from firmware.records import OUTPUTS_VALID_US, Inputs
from firmware.settings import (
    B_LEADS,
    DUTY_CODED,
    THROTTLE_BELOW_STARTUP_SPEED,
    THROTTLE_FREELY,
    TWO_CHANNELS,
    Settings,
)
from firmware.ticks import ticks_diff_us

_BEHIND_MAX = 4
_MARGIN_US = 15_000  # Three control periods: the guard is the second to notice, not the first.
_WHEEL_STILL_US = 3_000_000  # No pulse for this long, or none yet: the wheel is at rest.
_NEVER_US = (1 << 30) - 1
_LONGEST_DISTANCE_US = 10_000_000


class OutputGuard:
    """The gate. Show it every edge of the step, then ask `permit`."""

    __slots__ = (
        "_backward_edges",
        "_before_us",
        "_behind",
        "_cutoff_period_us",
        "_cutoff_pulses_percent",
        "_edge_us",
        "_fall_seen",
        "_fall_us",
        "_forward_step",
        "_forward_us",
        "_glitch_us",
        "_highest_mv",
        "_levels",
        "_longest_period_us",
        "_longest_us",
        "_now_us",
        "_rise_seen",
        "_rise_us",
        "_settings",
        "_signal_level",
        "_startup_period_us",
        "_throttle_rest_seen",
        "_turning",
        "_wheel_period_us",
        "_wheel_seen",
        "_wheel_us",
    )

    def __init__(self, settings: Settings, now_us: int) -> None:
        """Start with the crank not turning and the throttle not yet seen at rest."""
        self._settings = settings
        self._forward_step = 3 if settings.lead == B_LEADS else 1
        self._signal_level = 2 if settings.lead == B_LEADS else 1  # Of a duty-coded sensor: B or A high.
        self._backward_edges = settings.backward_edges
        self._highest_mv = settings.command_max_mv
        self._longest_us = 60_000_000 // (settings.pulses_per_rev * settings.release_rpm) + _MARGIN_US
        # Levels that last less than a sixteenth of a pitch at 250 rpm are not from a magnet.
        self._glitch_us = 15_000 // settings.pulses_per_rev
        # Periods of the wheel sensor at the two speeds, in two steps, each within a small int.
        pulses = settings.wheel_pulses_per_rev
        way = settings.wheel_circumference_mm * 100_000 // pulses
        self._cutoff_period_us = way // settings.cutoff_speed_mm_per_s * 10
        self._startup_period_us = _NEVER_US
        if settings.startup_speed_mm_per_s > 0:
            # A speed too low for the wheel sensor is recognised by a wheel at rest only.
            period_us = min(way // settings.startup_speed_mm_per_s, _WHEEL_STILL_US // 10) * 10
            self._startup_period_us = period_us
        # Hundredths of wheel pulses in the cut-off distance, rounded up: this gate must be looser.
        distance_percent = settings.cutoff_distance_mm * 100 * pulses
        self._cutoff_pulses_percent = 1 + distance_percent // settings.wheel_circumference_mm
        self._longest_period_us = _LONGEST_DISTANCE_US * 100 // self._cutoff_pulses_percent
        self._now_us = now_us
        self._levels = 0
        self._rise_us = now_us
        self._fall_us = now_us
        self._before_us = now_us
        self._rise_seen = False
        self._fall_seen = False
        self._edge_us = now_us
        self._turning = False
        self._forward_us = now_us
        self._behind = 0
        self._wheel_seen = False
        self._wheel_us = now_us
        self._wheel_period_us = _WHEEL_STILL_US
        self._throttle_rest_seen = settings.throttle_fitted == 0

    def crank_edge(self, levels: int, time_us: int) -> None:
        """Take a crank edge: the levels after it and its time."""
        kind = self._settings.sensor_kind
        self._edge_us = time_us
        if kind == TWO_CHANNELS:
            moved = ((levels ^ (levels >> 1)) - (self._levels ^ (self._levels >> 1))) & 3
            if moved == self._forward_step:
                self._go_forward(1, time_us)
            elif moved != 0 and moved != 2:
                self._behind = min(self._behind + 1, _BEHIND_MAX)
        elif kind == DUTY_CODED:
            self._see_duty(levels & self._signal_level, time_us)
        elif (levels ^ self._levels) & self._signal_level or not (self._rise_seen or self._fall_seen):
            self._see_pulse(
                levels & self._signal_level, time_us
            )  # The level before the first edge is not known.
        self._levels = levels

    def wheel_edge(self, level: int, time_us: int) -> None:
        """Take a wheel edge: the level after it and its time."""
        if level == 0:
            return
        if self._wheel_seen:
            period_us = ticks_diff_us(time_us, self._wheel_us)
            if period_us < self._cutoff_period_us >> 2:
                return  # Four times the cut-off speed: a contact that bounces.
            self._wheel_period_us = period_us
        self._wheel_seen = True
        self._wheel_us = time_us

    def permit(self, command_mv: int, inputs: Inputs, now_us: int) -> int:
        """Return `command_mv`, or less: 0 where no drive can be right."""
        if self._clock_went_back(now_us):
            return 0
        period_us = self._slowest_period_us(now_us)
        self._forget_the_old(period_us, now_us)
        if not self._throttle_rest_seen:
            self._look_for_rest(inputs.throttle_mv)
        if command_mv <= 0 or inputs.brake_pulled:
            return 0
        age_us = ticks_diff_us(now_us, inputs.sampled_us)
        if age_us < 0 or age_us > OUTPUTS_VALID_US or period_us < self._cutoff_period_us:
            return 0
        if not self._turning or self._behind >= self._backward_edges:
            if not self._throttle_may_drive(inputs.throttle_mv, period_us):
                return 0
        return min(command_mv, self._highest_mv)

    def _clock_went_back(self, now_us: int) -> bool:
        """Return whether time ran backwards; if so, stored times become now and the crank counts as still."""
        went_back = ticks_diff_us(now_us, self._now_us) < 0
        self._now_us = now_us
        if went_back:
            self._turning = False
            self._rise_seen = False
            self._fall_seen = False
            self._fall_us = now_us
            self._edge_us = now_us
            self._wheel_us = now_us
        return went_back

    def _see_duty(self, high: int, time_us: int) -> None:
        if high == 0:
            self._fall_us = time_us
            return
        if self._rise_seen:
            high_us = ticks_diff_us(self._fall_us, self._rise_us)
            low_us = ticks_diff_us(time_us, self._fall_us)
            pitch_us = high_us + low_us
            difference_us = abs(high_us - low_us)
            # Else too near one half to decide, or a pulse of under an eighth, which is not a magnet.
            if pitch_us >> 3 < difference_us < pitch_us - (pitch_us >> 2):
                if (high_us > low_us) == (self._settings.forward_duty_high == 1):
                    self._go_forward(2, time_us)
                else:
                    self._behind = min(self._behind + 2, _BEHIND_MAX)
        self._rise_seen = True
        self._rise_us = time_us

    def _see_pulse(self, high: int, time_us: int) -> None:
        """Count an edge of one channel, unless it ends a pulse of under an eighth of a pitch, or over seven.

        A pulse that ends within the glitch time is discounted. After a rest a pitch must be seen first.
        """
        if high != 0:
            pulse_us = ticks_diff_us(time_us, self._fall_us)
            pitch_us = ticks_diff_us(time_us, self._rise_us)
        else:
            pulse_us = ticks_diff_us(time_us, self._rise_us)
            pitch_us = ticks_diff_us(time_us, self._fall_us)
        if not self._rise_seen or not self._fall_seen:
            self._note_edge(high, time_us)
        elif pulse_us < self._glitch_us:
            if high != 0:
                self._fall_us = self._before_us
            else:
                self._rise_us = self._before_us
        else:
            self._note_edge(high, time_us)
            if pitch_us >> 3 <= pulse_us <= pitch_us - (pitch_us >> 3):
                self._go_forward(1, time_us)

    def _note_edge(self, high: int, time_us: int) -> None:
        if high != 0:
            self._before_us = self._rise_us
            self._rise_us = time_us
            self._rise_seen = True
        else:
            self._before_us = self._fall_us
            self._fall_us = time_us
            self._fall_seen = True

    def _go_forward(self, edges: int, time_us: int) -> None:
        if self._behind > 0:
            self._behind = max(self._behind - edges, 0)
        else:
            self._turning = True
            self._forward_us = time_us

    def _slowest_period_us(self, now_us: int) -> int:
        """Return the wheel's last period, or the wait since its last pulse if that is longer.

        A standstill is latched long before the time of its pulse could wrap into "recent".
        """
        if not self._wheel_seen:
            return _WHEEL_STILL_US
        waited_us = ticks_diff_us(now_us, self._wheel_us)
        if waited_us > _WHEEL_STILL_US:
            self._wheel_seen = False
            self._wheel_period_us = _WHEEL_STILL_US
        return max(self._wheel_period_us, waited_us)

    def _distance_us(self, period_us: int) -> int:
        """Return the cut-off distance as a time: the pulses that fit into it times the wheel's period."""
        if period_us >= _WHEEL_STILL_US:
            return _LONGEST_DISTANCE_US
        return min(period_us, self._longest_period_us) * self._cutoff_pulses_percent // 100

    def _forget_the_old(self, period_us: int, now_us: int) -> None:
        """Latch what has ended, long before its time stamp could wrap into "recent"."""
        if self._turning:
            gap_us = ticks_diff_us(now_us, self._forward_us)
            self._turning = gap_us <= self._longest_us and gap_us <= self._distance_us(period_us) + _MARGIN_US
        unfinished = self._behind != 0 or self._rise_seen or self._fall_seen
        if unfinished and ticks_diff_us(now_us, self._edge_us) > self._longest_us:
            # After a rest the crank starts over: nothing to make up, no half-measured pitch.
            self._behind = 0
            self._rise_seen = False
            self._fall_seen = False

    def _look_for_rest(self, throttle_mv: int) -> None:
        settings = self._settings
        self._throttle_rest_seen = settings.throttle_open_mv <= throttle_mv <= settings.throttle_rest_mv

    def _throttle_may_drive(self, throttle_mv: int, period_us: int) -> bool:
        settings = self._settings
        if settings.throttle_fitted == 0 or not self._throttle_rest_seen:
            return False
        if throttle_mv <= settings.throttle_rest_mv or throttle_mv > settings.throttle_short_mv:
            return False
        if settings.throttle_unpedalled == THROTTLE_FREELY:
            return True
        slow = period_us >= self._startup_period_us
        return settings.throttle_unpedalled == THROTTLE_BELOW_STARTUP_SPEED and slow
