"""Probes of power and command: what the rules in `driving` measure."""

from math import pi

from firmware.controller import Controller
from firmware.decide.engagement import ASSISTING
from firmware.records import Outputs
from firmware.settings import MOTOR_SPEED
from firmware.ticks import CONTROL_PERIOD_US
from host_sim.bench.clock import US_PER_S
from host_sim.bench.ride_measures import SETTLED_SHARE, SURGE_WINDOW_US
from host_sim.bench.world import TURNING_RAD_PER_S, World
from host_sim.rules.case import Case
from host_sim.rules.probe import Probe

RISE_PERIODS = 20  # 0.1 s: over less, whole millivolts would count for much.
STEPPED_BACK_MV = 10  # A command that falls by this much at once has found the back-EMF.
OVER_LIMIT = 1.1  # Of the power limit: power above this counts as too much.
CONTINUOUS_PERIODS = 2000  # 10 s.
LINE_MOVED = 0.03  # Of the power limit: less is the noise of the reading.
QUIET_S = 1.0  # Time after a change in the ride that is not evaluated.
HELP_NEVER_S = 3.0  # Help that has not come by then is measured as it is.
CRANK_RESTED_S = 0.3
THROTTLE_RESTED_S = 0.05


class HighestCommand(Probe):
    """Millivolts, the highest command."""

    def look(self, outputs: Outputs) -> None:
        """Store the highest."""
        self.saw(float(outputs.command_mv))


class SteepestRise(Probe):
    """mV/s, the steepest rise of the command over 0.1 s.

    The step across the dead band does not count, and neither does the search for the back-EMF on a motor
    controller of the speed kind: there the rise counts while the motor helps and the search is over.
    """

    def begin(self, world: World, controller: Controller) -> None:
        """Start with a command of zero."""
        super().begin(world, controller)
        self._last_mv = 0
        self._rises_mv = [0] * RISE_PERIODS
        self._times_us = [world.now_us] * RISE_PERIODS
        self._index = 0
        self._sum_mv = 0
        self._seeks = self.settings.motor_kind == MOTOR_SPEED

    def look(self, outputs: Outputs) -> None:
        """Add up what the command rose by within the last 0.1 s."""
        start_mv = self.settings.command_start_mv
        rise_mv = max(outputs.command_mv, start_mv) - max(self._last_mv, start_mv)
        self._last_mv = outputs.command_mv
        seeking = self.controller.feed_forward.seek_mv > 0 or not self.world.motor.assisting()
        if self._seeks and (rise_mv < -STEPPED_BACK_MV or seeking):
            self._rises_mv = [0] * RISE_PERIODS
            self._sum_mv = 0
            return
        rise_mv = max(rise_mv, 0)
        self._sum_mv += rise_mv - self._rises_mv[self._index]
        self._rises_mv[self._index] = rise_mv
        # The steps of a stalled loop are longer than a period.
        span_us = max(self.world.now_us - self._times_us[self._index], RISE_PERIODS * CONTROL_PERIOD_US)
        self._times_us[self._index] = self.world.now_us
        self._index = (self._index + 1) % RISE_PERIODS
        self.saw(float(self._sum_mv * US_PER_S) / float(span_us))


class CommandBeforeRest(Probe):
    """Millivolts of command before crank and throttle have been at rest, after every power-up.

    A crank so slow that a whole pitch takes longer than the standstill time (the pitch at release cadence
    and half a second) gives no edge in that time: no sensor can distinguish it from one at rest.
    """

    def __init__(self, case: Case) -> None:
        """Compute which speed counts as rest for this ring."""
        super().__init__(case)
        pulses = float(self.settings.pulses_per_rev)
        release_rpm = float(self.settings.release_rpm)
        self._slow_rad_per_s = 2.0 * pi / (pulses * (60.0 / (pulses * release_rpm) + 0.5))

    def begin(self, world: World, controller: Controller) -> None:
        """Start after a power-up: nothing has been at rest yet."""
        super().begin(world, controller)
        self._turned_us = world.now_us
        self._opened_us = world.now_us
        self._crank_rested = False
        self._throttle_rested = False

    def look(self, outputs: Outputs) -> None:
        """Evaluate until both have rested for a while."""
        world = self.world
        if abs(world.rider.crank_rad_per_s) > self._slow_rad_per_s:
            self._turned_us = world.now_us
        if world.throttle_share > 0.0 and self.case.bike.throttle.fitted:
            self._opened_us = world.now_us
        rested_us = float(world.now_us - self._turned_us)
        self._crank_rested = self._crank_rested or rested_us > CRANK_RESTED_S * US_PER_S
        rested_us = float(world.now_us - self._opened_us)
        self._throttle_rested = self._throttle_rested or rested_us > THROTTLE_RESTED_S * US_PER_S
        if not (self._crank_rested and self._throttle_rested):
            self.saw(float(outputs.command_mv))


class FirstHelpAngle(Probe):
    """Degrees that the crank turns forward before the command is beyond the dead band, the most."""

    def begin(self, world: World, controller: Controller) -> None:
        """Start at a standstill."""
        super().begin(world, controller)
        self._start_rad = world.rider.crank_rad
        self._waiting = False

    def look(self, outputs: Outputs) -> None:
        """Measure from the first movement to the first command."""
        rider = self.world.rider
        if rider.crank_rad_per_s <= TURNING_RAD_PER_S and outputs.command_mv == 0:
            self._start_rad = rider.crank_rad
            self._waiting = True
        elif self._waiting:
            if outputs.command_mv >= max(self.settings.command_start_mv, 1):
                self._waiting = False
            self.saw((rider.crank_rad - self._start_rad) * 180.0 / pi)


class EdgesShort(Probe):
    """Number of engage edges that were still missing when help began after a standstill, the most."""

    watches_edges = True

    def __init__(self, case: Case) -> None:
        """Watch the edges too."""
        super().__init__(case)
        self._edges = 0

    def begin(self, world: World, controller: Controller) -> None:
        """Start at a standstill."""
        super().begin(world, controller)
        self._waiting = False

    def edge(self, time_us: int, levels: int) -> None:
        """Count."""
        self._edges += 1

    def look(self, outputs: Outputs) -> None:
        """Count from the standstill to the first command."""
        if outputs.command_mv > 0:
            if self._waiting:
                self.saw(float(self.settings.engage_edges - self._edges))
            self._waiting = False
        elif abs(self.world.rider.crank_rad_per_s) <= TURNING_RAD_PER_S:
            self._edges = 0
            self._waiting = True


class CadenceShort(Probe):
    """rpm by which the crank, according to its edges, was slower than the engage cadence when help began."""

    watches_edges = True

    def __init__(self, case: Case) -> None:
        """Watch the edges too."""
        super().__init__(case)
        self._edge_us: dict[int, int] = {}
        self._pitch_us = 0
        self._assisting = False

    def edge(self, time_us: int, levels: int) -> None:
        """Keep the time since the last edge of the same kind."""
        self._pitch_us = time_us - self._edge_us.get(levels, time_us)
        self._edge_us[levels] = time_us

    def look(self, outputs: Outputs) -> None:
        """Look at the moment of engaging."""
        assisting = self.controller.engagement.state == ASSISTING
        if assisting and not self._assisting and self._pitch_us > 0:
            rpm = 60.0 * US_PER_S / float(self.settings.pulses_per_rev * self._pitch_us)
            self.saw(float(self.settings.engage_rpm) - rpm)
        self._assisting = assisting


class ShareError(Probe):
    """Watts between the requested power and that of the selector's position, once it has settled."""

    def begin(self, world: World, controller: Controller) -> None:
        """Start with no position seen."""
        super().begin(world, controller)
        self._selector_v = -1.0
        self._since_us = 0

    def look(self, outputs: Outputs) -> None:
        """Compare where the selector has not moved for a second."""
        world = self.world
        if world.selector_v != self._selector_v:
            self._selector_v = world.selector_v
            self._since_us = world.now_us
        if (
            self.controller.engagement.state != ASSISTING
            or float(world.now_us - self._since_us) < QUIET_S * US_PER_S
        ):
            return
        wanted_w = float(self.settings.assist_power_w) * self._true_share()
        self.saw(abs(float(self.controller.request.wanted_w) - wanted_w))

    def _true_share(self) -> float:
        selector = self.case.bike.selector
        turned = (self._selector_v - selector.low_v) / (selector.high_v - selector.low_v)
        if selector.kind == "positions" and selector.positions:
            return selector.shares_percent[round(turned * (selector.positions - 1))] / 100.0
        return turned


class Tracking(Probe):
    """How the power follows the first step to full power; `of` chooses the number."""

    of = "overshoot"

    def __init__(self, case: Case) -> None:
        """Start not engaged."""
        super().__init__(case)
        self._end_us = case.course.seconds * US_PER_S
        self._engaged_us = 0
        self._overshoot = 0.0
        self._outside_us = 0
        self._lowest = float("inf")
        self._highest = float("-inf")

    def look(self, outputs: Outputs) -> None:
        """Follow battery power as a share of its limit."""
        if self.controller.engagement.state != ASSISTING:
            return
        now_us = self.world.now_us
        if self._engaged_us == 0:
            self._engaged_us = self._outside_us = now_us
        allowed_w = min(self.controller.request.wanted_w, self.controller.ceilings.ceiling_w)
        if allowed_w == 0:
            return
        share = self.world.motor.power_w / float(allowed_w)
        if share < 1.0 and outputs.command_mv == self.settings.command_max_mv:
            share = 1.0  # The motor can't draw more at this speed, so the power can't follow.
        self._overshoot = max(self._overshoot, share - 1.0)
        if abs(share - 1.0) > SETTLED_SHARE:
            self._outside_us = now_us
        if now_us > self._end_us - float(SURGE_WINDOW_US):
            self._lowest = min(self._lowest, share)
            self._highest = max(self._highest, share)

    def end(self) -> None:
        """Finish the chosen number."""
        if self._engaged_us == 0:
            return
        if self.of == "overshoot":
            self.saw(100.0 * self._overshoot)
        elif self.of == "settling":
            self.saw((self._outside_us - self._engaged_us) / US_PER_S)
        elif self._highest >= self._lowest:
            self.saw(100.0 * (self._highest - self._lowest))


class Settling(Tracking):
    """Seconds until the power stays within a tenth of its limit."""

    of = "settling"


class Surge(Tracking):
    """Swing of the power in the last 4 s, in percent of its limit."""

    of = "surge"


class HelpDelay(Probe):
    """Seconds from engaging to half of the power allowed, while the pedals go on."""

    def begin(self, world: World, controller: Controller) -> None:
        """Start not engaged."""
        super().begin(world, controller)
        self._engaged_us = -1
        self._assisting = False

    def look(self, outputs: Outputs) -> None:
        """Measure from the moment of engaging; a new stop before that forgets it."""
        assisting = self.controller.engagement.state == ASSISTING
        now_us = self.world.now_us
        if assisting and not self._assisting:
            self._engaged_us = now_us
        self._assisting = assisting
        if not assisting or self._engaged_us < 0:
            self._engaged_us = -1
            return
        allowed_w = float(min(self.controller.request.wanted_w, self.controller.ceilings.ceiling_w))
        self._waited_s = float(now_us - self._engaged_us) / US_PER_S
        if 2.0 * self.world.motor.power_w >= allowed_w:
            self.saw(self._waited_s)
            self._engaged_us = -1
        elif self._waited_s > HELP_NEVER_S:
            self.saw(self._waited_s)


class PowerExcess(Probe):
    """Joules of battery power above 1.1 times the power limit."""

    def look(self, outputs: Outputs) -> None:
        """Add up what is above."""
        excess_w = self.world.motor.power_w - OVER_LIMIT * float(self.settings.power_limit_w)
        before_j = 0.0 if self.measured is None else self.measured
        self.saw(before_j + max(excess_w, 0.0) * float(CONTROL_PERIOD_US) / US_PER_S)


class ContinuousPower(Probe):
    """Watts, the highest mean of battery power over 10 s."""

    def __init__(self, case: Case) -> None:
        """Start without a value."""
        super().__init__(case)
        self._powers_w = [0.0] * CONTINUOUS_PERIODS
        self._index = 0
        self._sum_w = 0.0

    def look(self, outputs: Outputs) -> None:
        """Update the mean."""
        power_w = self.world.motor.power_w
        self._sum_w += power_w - self._powers_w[self._index]
        self._powers_w[self._index] = power_w
        self._index = (self._index + 1) % CONTINUOUS_PERIODS
        self.saw(self._sum_w / CONTINUOUS_PERIODS)


class FoldbackExcess(Probe):
    """Watts above the straight line of a fold-back, once the power has had a second to follow."""

    def begin(self, world: World, controller: Controller) -> None:
        """Start with no change seen."""
        super().begin(world, controller)
        self._line_w = -1.0
        self._since_us = 0

    def look(self, outputs: Outputs) -> None:
        """Compare with the line, where the line has not moved much for a second."""
        line_w = float(self.settings.power_limit_w) * min(max(self.line(), 0.0), 1.0)
        if abs(line_w - self._line_w) > LINE_MOVED * float(self.settings.power_limit_w):
            self._line_w = line_w
            self._since_us = self.world.now_us
        if float(self.world.now_us - self._since_us) > QUIET_S * US_PER_S:
            self.saw(self.world.motor.power_w - line_w)

    def line(self) -> float:
        """Return the fold-back as a share, from the true state of battery or motor."""
        raise NotImplementedError


class BatteryExcess(FoldbackExcess):
    """Watts above the battery's fold-back line."""

    def line(self) -> float:
        """Return the share at the true voltage."""
        empty_mv = self.settings.battery_empty_mv
        span_mv = self.settings.battery_foldback_mv - empty_mv
        return (self.world.battery.voltage_v * 1000.0 - float(empty_mv)) / float(span_mv)


class HeatExcess(FoldbackExcess):
    """Watts above the heat fold-back line."""

    def line(self) -> float:
        """Return the share at the true temperature."""
        limit = self.settings.heat_limit_decicelsius
        span = limit - self.settings.heat_foldback_decicelsius
        return (float(limit) - self.world.motor.temperature_celsius * 10.0) / float(span)
