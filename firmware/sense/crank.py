"""Crank edges to direction, pitch time and runs of edges.

Two channels: the levels are a two-bit Gray code. `levels ^ (levels >> 1)` makes it binary; the difference of
two positions modulo 4 is 0 for none, 1 forward, 3 backward, 2 for a double change that no crank can make. One
channel: every edge is forward. Duty-coded: the high share of a pitch tells the direction, at the rising edge.
Pulses of under an eighth or over seven eighths of a pitch are noise there. The pitch time is measured between
edges of the same kind, so that duty and phase errors cancel.
"""

from firmware.settings import B_LEADS, DUTY_CODED, TWO_CHANNELS, Settings
from firmware.ticks import ticks_diff_us

CADENCE_MAX_RPM = 250  # 200 rpm is beyond any rider under power; a quarter more for uneven magnets.
RUN_MAX = 1000  # Runs stop counting here: far above the longest that anything requires.
BEHIND_MAX = 4  # Edges to make up after going backward: one pitch. More is a backward run anyway.
PITCH_MAX_US = 4_000_000  # Slower than any release cadence: 4 rpm on 4 pulses is 3.75 s.
STANDSTILL_MARGIN_US = 500_000
US_PER_MINUTE = 60_000_000


class Crank:
    """The crank, according to its edges.

    Read: `forward_run` and `backward_run` (consecutive edges), `last_forward_us` (the last edge that gained
    new ground), `pitch_us` and `pitch_edge_us` (the last measured pitch and its end; 0 while there is none),
    `ground_gained` and `pitch_measured` (in this step), `standing` (latched), `levels`, `one_sided_run`
    (edges in a row on one channel alone), `rejected` (noise and double changes, modulo 65536).
    """

    __slots__ = (
        "_backward_step",
        "_behind",
        "_fall_us",
        "_forward_duty_high",
        "_glitch_us",
        "_kind_us",
        "_kinds",
        "_last_changed",
        "_last_edge_us",
        "_last_position",
        "_mask",
        "_odd_before",
        "_pending",
        "_pending_levels",
        "_pending_us",
        "_rise_seen",
        "_rise_us",
        "_sensor_kind",
        "_shift",
        "_shortest_pitch_us",
        "_standstill_us",
        "_started",
        "backward_run",
        "forward_run",
        "ground_gained",
        "last_forward_us",
        "levels",
        "one_sided_run",
        "pitch_edge_us",
        "pitch_measured",
        "pitch_us",
        "rejected",
        "standing",
    )

    def __init__(self, settings: Settings, now_us: int) -> None:
        """Start as if an edge had just passed: only after some quiet does the crank stand."""
        pulses = settings.pulses_per_rev
        self._sensor_kind = settings.sensor_kind
        self._kinds = 4 if settings.sensor_kind == TWO_CHANNELS else 2
        self._mask = 3 if settings.sensor_kind == TWO_CHANNELS else 1
        self._shift = 1 if self._mask == 1 and settings.lead == B_LEADS else 0  # B is read as A.
        self._backward_step = 1 if settings.lead == B_LEADS else 3
        self._forward_duty_high = settings.forward_duty_high == 1
        self._shortest_pitch_us = US_PER_MINUTE // (pulses * CADENCE_MAX_RPM)
        self._glitch_us = self._shortest_pitch_us // 16  # Levels that last less are not from a magnet.
        self._standstill_us = US_PER_MINUTE // (pulses * settings.release_rpm) + STANDSTILL_MARGIN_US
        self._kind_us = [now_us] * 4
        self._last_position = 0
        self._last_changed = 0
        self._started = False
        self._pending = False
        self._pending_levels = 0
        self._pending_us = now_us
        self._odd_before = False
        self._rise_seen = False
        self._rise_us = now_us
        self._fall_us = now_us
        self._behind = 0
        self._last_edge_us = now_us
        self.levels = 0
        self.forward_run = 0
        self.backward_run = 0
        self.last_forward_us = now_us
        self.ground_gained = False
        self.pitch_us = 0
        self.pitch_edge_us = now_us
        self.pitch_measured = False
        self.one_sided_run = 0
        self.rejected = 0
        self.standing = False

    def begin_step(self) -> None:
        """Call once a step, before the edges."""
        self.ground_gained = False
        self.pitch_measured = False

    def edge(self, levels: int, time_us: int) -> None:
        """Take the next edge of the log: the levels after it (0 to 3) and its time.

        An edge waits until its levels have lasted; one that ends sooner is counted as rejected.
        """
        levels = levels >> self._shift & self._mask
        if self._pending:
            if ticks_diff_us(time_us, self._pending_us) >= self._glitch_us:
                self._pending = False
                self._accept(self._pending_levels, self._pending_us)
            elif levels == self._pending_levels:
                return  # A slow slope may trigger the interrupt twice.
            else:
                self._pending = False
                self._reject()
        if levels != self.levels or not self._started:
            self._pending = True
            self._pending_levels = levels
            self._pending_us = time_us

    def settle(self, now_us: int) -> None:
        """Call once a step, after the edges: accept an edge that has lasted, latch a standstill."""
        if self._pending and ticks_diff_us(now_us, self._pending_us) >= self._glitch_us:
            self._pending = False
            self._accept(self._pending_levels, self._pending_us)
        if not self.standing and ticks_diff_us(now_us, self._last_edge_us) > self._standstill_us:
            self.standing = True
            self._rise_seen = False
            self._behind = 0
            self.one_sided_run = 0  # Occasional rocking is not a dead channel.
            self.pitch_us = 0
            self.backward_run = 0
            self.forward_run = 0

    def forget_run(self) -> None:
        """Require a new run of forward edges, because pedalling has stopped."""
        self.forward_run = 0

    def restamp(self, now_us: int) -> None:
        """Restart from `now_us`, because the clock went back; levels and edges to make up stay."""
        self.begin_step()
        self.forget_run()
        self.pitch_us = 0
        self.last_forward_us = now_us
        self._rise_seen = False
        self._fall_us = now_us
        self._pending_us = now_us
        self._last_edge_us = now_us

    def _accept(self, levels: int, time_us: int) -> None:
        changed = levels ^ self.levels
        self.levels = levels
        self._last_edge_us = time_us
        self.standing = False
        if self._sensor_kind == TWO_CHANNELS:
            self._two_channels(levels, changed, time_us)
        elif self._sensor_kind == DUTY_CODED:
            self._duty_coded(levels, time_us)
        else:
            self._one_channel(levels, time_us)
        self._started = True

    def _two_channels(self, levels: int, changed: int, time_us: int) -> None:
        position = levels ^ (levels >> 1)
        moved = (position - self._last_position) & 3
        self._last_position = position
        if not self._started:
            return  # The levels before the first edge are not known.
        # With a dead channel only the other one changes.
        self.one_sided_run = min(self.one_sided_run + 1, RUN_MAX) if changed == self._last_changed else 0
        self._last_changed = changed
        if moved == 2:
            self.forward_run = 0
            self.backward_run = 0
            self._reject()
        elif moved == self._backward_step:
            self._go_backward(1)
        else:
            self._forward(position, time_us)

    def _one_channel(self, high: int, time_us: int) -> None:
        """Ignore one odd pulse, since legs may start that quickly; a second in a row is noise."""
        pitch_us = ticks_diff_us(time_us, self._kind_us[high])
        pulse_us = ticks_diff_us(time_us, self._kind_us[1 - high])
        odd = pulse_us < pitch_us >> 3 or pulse_us > pitch_us - (pitch_us >> 3)
        odd = odd and self.forward_run >= self._kinds
        if not odd:
            self._forward(high, time_us)
        elif self._odd_before:
            self._too_soon()
        else:
            self._kind_us[high] = time_us
        self._odd_before = odd

    def _duty_coded(self, high: int, time_us: int) -> None:
        if high == 0:
            self._fall_us = time_us
            return
        if self._rise_seen:
            pitch_us = ticks_diff_us(time_us, self._rise_us)
            high_us = ticks_diff_us(self._fall_us, self._rise_us)
            excess_us = 2 * high_us - pitch_us
            if pitch_us < self._shortest_pitch_us:
                self._too_soon()
            elif high_us <= 0 or not pitch_us >> 3 < abs(excess_us) < pitch_us - (pitch_us >> 2):
                self.forward_run = 0  # Too near one half to show a direction, or not a magnet.
                self._reject()
            elif (excess_us > 0) == self._forward_duty_high:
                self._measure(pitch_us, time_us)
                self._gain_ground(2, time_us)
            else:
                self._go_backward(2)
        self._rise_seen = True
        self._rise_us = time_us

    def _forward(self, kind: int, time_us: int) -> None:
        """Take one forward edge; `kind` is its position within the pitch, 0 to 3."""
        if self.forward_run >= self._kinds:
            pitch_us = ticks_diff_us(time_us, self._kind_us[kind])
            if pitch_us < self._shortest_pitch_us:
                self._too_soon()
                return
            self._measure(pitch_us, time_us)
        self._kind_us[kind] = time_us
        self._gain_ground(1, time_us)

    def _measure(self, pitch_us: int, time_us: int) -> None:
        self.pitch_us = min(pitch_us, PITCH_MAX_US)
        self.pitch_edge_us = time_us
        self.pitch_measured = True

    def _gain_ground(self, edges: int, time_us: int) -> None:
        self.backward_run = 0
        self.forward_run = min(self.forward_run + edges, RUN_MAX)
        if self._behind > 0:
            self._behind = max(self._behind - edges, 0)  # Covered before: rocking is not progress.
        else:
            self.last_forward_us = time_us
            self.ground_gained = True

    def _go_backward(self, edges: int) -> None:
        self.forward_run = 0
        self.pitch_us = 0
        self.backward_run = min(self.backward_run + edges, RUN_MAX)
        self._behind = min(self._behind + edges, BEHIND_MAX)

    def _too_soon(self) -> None:
        self.forward_run = 0
        self._behind = self._kinds  # A pitch to make up: noise must not count as progress.
        self._reject()

    def _reject(self) -> None:
        self.rejected = (self.rejected + 1) & 0xFFFF
