"""What must hold after every step of every ride, written from what a rider is promised, not from the code.

A Watch looks only at what the rig did and at what came out: the true edges, the true pulses, the
levers, the time. It keeps its own account and imports nothing of sense, decide, drive or guard.
"""

from __future__ import annotations

from firmware.guard.output_guard import OutputGuard
from firmware.records import Inputs
from firmware.settings import DUTY_CODED, MOTOR_SPEED, ONE_CHANNEL, THROTTLE_NEVER, TWO_CHANNELS
from host_sim.rig.rig import Rig


class SpyGuard(OutputGuard):
    """The guard itself, which also notes what it was asked for and what it let through."""

    __slots__ = ("asked_mv", "permitted_mv")

    def permit(self, command_mv: int, inputs: Inputs, now_us: int) -> int:
        """Ask the real guard and note both numbers."""
        self.asked_mv = command_mv
        self.permitted_mv = super().permit(command_mv, inputs, now_us)
        return self.permitted_mv


class Watch:
    """Hangs itself on a rig and asserts after every step. `drove` tells whether there was any drive."""

    def __init__(self, rig: Rig, noisy: bool = False) -> None:
        """With `noisy` the crank log also holds edges that no ring made."""
        self.rig = rig
        self.noisy = noisy
        self.drove = False
        self.rest_ma = 0  # The most that was read while the command was in the dead band.
        self.flows = False  # A current was read in the last step.
        self.last_step_us = rig.elapsed_us
        self.guard = SpyGuard(rig.settings, rig.number(rig.now_us))
        rig.controller.guard = self.guard
        rig.after_step.append(self.look)

    def look(self, rig: Rig, before_mv: int) -> None:
        """Assert everything; `before_mv` is the command of the step before."""
        command_mv = rig.outputs.command_mv
        span_us = rig.elapsed_us - self.last_step_us
        self.last_step_us = rig.elapsed_us
        self.drove = self.drove or command_mv > 0
        assert 0 <= command_mv <= rig.settings.command_max_mv
        assert rig.outputs.drive_enabled == (command_mv > 0)
        assert self.guard.permitted_mv <= self.guard.asked_mv
        assert command_mv == self.guard.permitted_mv
        self._rises_no_faster(before_mv, command_mv, span_us)
        if command_mv == 0:
            return
        assert not rig.brake_pulled
        assert rig.outputs.fault_cause == 0
        self._below_cut_off()
        self._somebody_asks()
        self._not_backward()

    def _rises_no_faster(self, before_mv: int, command_mv: int, span_us: int) -> None:
        start_mv = self.rig.settings.command_start_mv
        # One millivolt more than the time of this step buys may be left over from the one before.
        budget_mv = self._rate_mv_per_s(before_mv) * min(span_us, 100_000) // 1_000_000 + 1
        if before_mv < start_mv:
            assert command_mv <= start_mv
        else:
            assert command_mv <= before_mv + budget_mv

    def _rate_mv_per_s(self, before_mv: int) -> int:
        """Return how fast the command may rise: quicker in search of the back-EMF, while no current flows.

        A current is what is read above the motor turning freely and above what was read at rest, twice in a
        row: one reading may be noise.
        """
        settings = self.rig.settings
        rise_mv_per_s = int(settings.rise_mv_per_s)
        if before_mv <= settings.command_start_mv:
            self.rest_ma = max(self.rest_ma, int(self.rig.current_ma))
        current_ma = self.rig.current_ma - self.rest_ma - 5 * int(settings.no_load_current_ma) // 4
        flowed = self.flows
        self.flows = current_ma > 250
        if settings.motor_kind != MOTOR_SPEED or settings.shunt_fitted == 0 or (self.flows and flowed):
            return rise_mv_per_s
        return max(rise_mv_per_s, int(settings.seek_mv_per_s))

    def wheel_period_us(self) -> int | None:
        """Return the time of the last wheel pitch, or the wait since if longer; None when unknown."""
        pulses_us = self.rig.wheel_pulses_us
        if len(pulses_us) < 2 or pulses_us[-1] - pulses_us[-2] > 3_000_000:
            return None
        waited_us = self.rig.elapsed_us - pulses_us[-1]
        return None if waited_us > 3_000_000 else max(pulses_us[-1] - pulses_us[-2], waited_us)

    def _below_cut_off(self) -> None:
        period_us = self.wheel_period_us()
        if period_us is None:
            return
        settings = self.rig.settings
        # A millimetre a second above the cut-off speed, so that whole numbers leave no doubt.
        way = int(settings.cutoff_speed_mm_per_s + 1) * int(settings.wheel_pulses_per_rev) * period_us
        assert way > int(settings.wheel_circumference_mm) * 1_000_000

    def _somebody_asks(self) -> None:
        """Without a throttle, drive needs a forward edge within the release gap and the cut-off distance."""
        rig = self.rig
        settings = rig.settings
        throttle_open = settings.throttle_fitted == 1 and rig.throttle_mv > settings.throttle_rest_mv
        if throttle_open and settings.throttle_unpedalled != THROTTLE_NEVER:
            return
        # One wire tells no direction, or by duty only once a whole pitch went one way.
        any_edge = self.noisy or settings.sensor_kind != TWO_CHANNELS
        edge_us = rig.last_edge_us if any_edge else rig.last_forward_us
        assert edge_us is not None
        quiet_us = rig.elapsed_us - edge_us
        pitch_us = 60_000_000 // (int(settings.pulses_per_rev) * int(settings.release_rpm))
        share = 1_000 if settings.sensor_kind == DUTY_CODED else int(settings.edge_gap_permille)
        assert quiet_us <= pitch_us * share // 1_000
        period_us = self.wheel_period_us()
        if period_us is not None:
            pitches = int(settings.cutoff_distance_mm) * int(settings.wheel_pulses_per_rev)
            # Two percent for the whole millimetres a second of a slow wheel.
            allowed_us = pitches * period_us * 102 // 100 // int(settings.wheel_circumference_mm)
            lag_us = int(settings.motor_lag_ms) * 1_000
            assert quiet_us == 0 or quiet_us + lag_us <= allowed_us

    def _not_backward(self) -> None:
        rig = self.rig
        settings = rig.settings
        if self.noisy or settings.sensor_kind == ONE_CHANNEL or rig.last_edge_us is None:
            return
        # The very first edge says nothing and the last may not have lasted yet; a pitch of mixed
        # direction says little about duty.
        unsure = 6 if settings.sensor_kind == DUTY_CODED else 2
        recent_us = 60_000_000 // (int(settings.pulses_per_rev) * int(settings.release_rpm))
        if rig.elapsed_us - rig.last_edge_us <= recent_us:
            assert rig.backward_in_row < settings.backward_edges + unsure
