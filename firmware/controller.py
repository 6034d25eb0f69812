"""The controller: builds the components and calls them in a fixed order.

Reads as the table of contents of the firmware: sense, faults, decide, drive, guard. Nothing here
touches hardware, reads a clock or allocates; `step` never raises, and in doubt it is safe.
"""

from firmware.decide.ceilings import Ceilings
from firmware.decide.engagement import READY, Engagement
from firmware.decide.events import Events
from firmware.decide.pedalling import Pedalling
from firmware.decide.request import Request
from firmware.drive.feed_forward import FeedForward
from firmware.drive.power_loop import PowerLoop
from firmware.drive.slew_limiter import SlewLimiter
from firmware.guard.faults import NO_FAULT, Faults
from firmware.guard.output_guard import OutputGuard
from firmware.guard.plausibility import Plausibility
from firmware.records import (
    INDICATE_DRIVING,
    INDICATE_FAULT,
    INDICATE_READY,
    INDICATE_WAITING,
    OUTPUTS_VALID_US,
    Inputs,
    Outputs,
)
from firmware.sense.crank import Crank
from firmware.sense.levers import Selector, Throttle
from firmware.sense.motor_model import MotorModel
from firmware.sense.rotation import Wheel
from firmware.sense.shunt_watch import ShuntWatch
from firmware.sense.supply import Supply
from firmware.settings import Settings
from firmware.ticks import ticks_diff_us

LAPSED_RISE_MV = 1  # A step: 200 mV/s.


class Controller:
    """One bicycle's assist logic. Its components are attributes that telemetry and the bench read."""

    __slots__ = (
        "_last_us",
        "_stalled",
        "ceilings",
        "crank",
        "engagement",
        "events",
        "faults",
        "feed_forward",
        "guard",
        "motor_model",
        "outputs",
        "pedalling",
        "plausibility",
        "power_loop",
        "request",
        "selector",
        "settings",
        "shunt_watch",
        "slew_limiter",
        "supply",
        "throttle",
        "wheel",
    )

    def __init__(self, settings: Settings, now_us: int) -> None:
        """Build everything; the outputs start in the safe state. `now_us` 0 to TICKS_MAX_US."""
        self.settings = settings
        self.crank = Crank(settings, now_us)
        self.wheel = Wheel(settings.wheel_circumference_mm, settings.wheel_pulses_per_rev)
        self.throttle = Throttle(settings)
        self.selector = Selector(settings)
        self.supply = Supply()
        self.motor_model = MotorModel(settings)
        self.shunt_watch = ShuntWatch(settings, self.supply)
        self.plausibility = Plausibility(
            settings, self.motor_model, self.shunt_watch, self.wheel, self.supply
        )
        self.faults = Faults(
            settings, self.crank, self.wheel, self.throttle, self.selector, self.supply, self.plausibility
        )
        self.pedalling = Pedalling(settings)
        self.events = Events(settings, self.crank, self.pedalling, self.throttle, self.wheel)
        self.engagement = Engagement()
        self.request = Request(settings)
        self.ceilings = Ceilings(settings)
        self.feed_forward = FeedForward(settings, self.motor_model, self.wheel, self.shunt_watch)
        self.power_loop = PowerLoop(settings, now_us)
        self.slew_limiter = SlewLimiter(settings.rise_mv_per_s, settings.fall_mv_per_s, now_us)
        self.guard = OutputGuard(settings, now_us)
        self.outputs = Outputs()
        self._last_us = now_us
        self._stalled = False

    def step(self, inputs: Inputs, now_us: int) -> Outputs:
        """Take one control period: drain the logs, decide, and return the outputs. Raises nothing.

        Call it every 5 ms. A gap longer than OUTPUTS_VALID_US means that the board has dropped to the
        safe state on its own: the command then starts again from zero. Gaps must stay below 2**29 us.
        A time before that of the last step is a stall too, and pedalling has stopped.
        """
        self._take_edges(inputs, now_us)
        self._look_at_the_clock(now_us)
        self._sense(inputs, now_us)
        self._compare(inputs)
        self.faults.step(inputs, self.outputs.command_mv)
        self._engage(inputs)
        target_mv = self._target_mv(inputs, now_us)
        command_mv = self._slew(target_mv, now_us)
        permitted_mv = self.guard.permit(command_mv, inputs, now_us)
        self._put_out(permitted_mv, command_mv, now_us)
        return self.outputs

    def _take_edges(self, inputs: Inputs, now_us: int) -> None:
        """Pass every edge to the sensing part and, separately, to the guard."""
        self.crank.begin_step()
        log = inputs.crank
        while log.take():
            self.crank.edge(log.levels, log.time_us)
            self.guard.crank_edge(log.levels, log.time_us)
        self.crank.settle(now_us)
        self.wheel.begin_step()
        log = inputs.wheel
        while log.take():
            self.wheel.edge(log.levels, log.time_us)
            self.guard.wheel_edge(log.levels, log.time_us)
        self.wheel.settle(now_us)

    def _look_at_the_clock(self, now_us: int) -> None:
        """Detect a stall. After a step back every stored time would count as recent for too long."""
        elapsed_us = ticks_diff_us(now_us, self._last_us)
        self._stalled = elapsed_us < 0 or elapsed_us > OUTPUTS_VALID_US
        if elapsed_us < 0:
            self.crank.restamp(now_us)
            self.wheel.restamp(now_us)
            self.pedalling.stop()

    def _sense(self, inputs: Inputs, now_us: int) -> None:
        self.throttle.step(inputs.throttle_mv)
        self.selector.step(inputs.selector_mv)
        self.supply.step(inputs.battery_mv, inputs.current_ma)
        self.pedalling.step(self.crank, self.wheel.speed_mm_per_s, now_us)

    def _compare(self, inputs: Inputs) -> None:
        """Compare the readings with the motor model."""
        command_mv = self.outputs.command_mv
        self.motor_model.step(command_mv, self.wheel, self.supply)
        self.shunt_watch.step(inputs, command_mv)
        self.plausibility.step(command_mv)

    def _engage(self, inputs: Inputs) -> None:
        """Choose the event, take the transition, and compute the watts wanted and allowed."""
        event = self.events.choose(self.faults.cause, inputs.brake_pulled)
        state = self.engagement.step(event)
        self.request.step(state, self.selector.share_permille, self.throttle.share_permille)
        self.ceilings.step(state, self.wheel.speed_mm_per_s, self.supply.battery_mv, inputs.motor_decicelsius)
        if self.plausibility.withheld or self.wheel.overdue:
            self.ceilings.withhold()

    def _target_mv(self, inputs: Inputs, now_us: int) -> int:
        """Return the target voltage; 0 when nothing is wanted or nothing is allowed."""
        allowed_w = min(self.request.wanted_w, self.ceilings.ceiling_w)
        if allowed_w == 0:
            self.power_loop.rest(now_us)
            self.feed_forward.rest()
            return 0
        applied_mv = self._feed_forward(inputs, now_us)
        self.power_loop.step(allowed_w, self.supply.power_w, applied_mv, now_us)
        return self._bounded_mv(allowed_w, applied_mv)

    def _bounded_mv(self, allowed_w: int, applied_mv: int) -> int:
        """Return the target of the power loop and the search, but no more than the motor model allows."""
        target_mv = self.power_loop.target_mv
        if self.shunt_watch.lapsed and self.motor_model.speed_kind:
            # A motor controller that cut out may come back: the command must not have run away by then.
            target_mv = min(target_mv, applied_mv + LAPSED_RISE_MV)
        target_mv = max(target_mv, self.feed_forward.seek_mv)
        return min(target_mv, self.motor_model.ceiling_mv(allowed_w))

    def _feed_forward(self, inputs: Inputs, now_us: int) -> int:
        """Let the feed-forward move the power loop; return the command from which the loop continues."""
        feed_forward = self.feed_forward
        applied_mv = self.outputs.command_mv
        feed_forward.step(inputs, applied_mv)
        if feed_forward.found_mv > 0:
            applied_mv = min(feed_forward.found_mv, applied_mv)
            self.slew_limiter.reset(applied_mv, now_us)
        if feed_forward.found_mv > 0 or feed_forward.seek_mv > 0:
            self.power_loop.preset(applied_mv)
        else:
            self.power_loop.shift(feed_forward.change_uv)
        return applied_mv

    def _slew(self, target_mv: int, now_us: int) -> int:
        """Return the command on its way to the target; a cut, or a stall that caused one, is immediate."""
        limiter = self.slew_limiter
        if self._stalled or not self.engagement.driving() or self.ceilings.ceiling_w == 0:
            limiter.reset(0, now_us)
        elif target_mv > 0 and limiter.command_mv < self.settings.command_start_mv:
            limiter.reset(self.settings.command_start_mv, now_us)  # Skips the dead band.
        elif target_mv == 0 and limiter.command_mv <= self.settings.command_start_mv:
            limiter.reset(0, now_us)
        elif self.feed_forward.seek_mv > 0:
            limiter.seek(target_mv, self.feed_forward.rise_mv_per_s, now_us)
        else:
            limiter.step(target_mv, now_us)
        return limiter.command_mv

    def _put_out(self, permitted_mv: int, command_mv: int, now_us: int) -> None:
        if permitted_mv < command_mv:
            self.slew_limiter.reset(permitted_mv, now_us)
        outputs = self.outputs
        outputs.command_mv = permitted_mv
        outputs.drive_enabled = permitted_mv > 0
        outputs.fault_cause = self.faults.cause
        outputs.valid_for_us = OUTPUTS_VALID_US
        if self.faults.cause != NO_FAULT:
            outputs.indicator = INDICATE_FAULT
        elif permitted_mv > 0:
            outputs.indicator = INDICATE_DRIVING
        elif self.engagement.state >= READY:
            outputs.indicator = INDICATE_READY
        else:
            outputs.indicator = INDICATE_WAITING
        self._last_us = now_us
