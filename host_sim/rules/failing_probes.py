"""Probes of failures: what the rules in `failing` measure."""

from firmware.controller import Controller
from firmware.guard.faults import NO_FAULT
from firmware.records import Outputs
from firmware.ticks import CONTROL_PERIOD_US, TICKS_MAX_US
from host_sim.bench.clock import US_PER_S
from host_sim.bench.sim_board import StepWatch
from host_sim.bench.world import TURNING_RAD_PER_S, WIRE_WHOLE, World
from host_sim.rules.case import Case
from host_sim.rules.probe import Probe
from host_sim.rules.stopping_probes import release_gap_s

# Defined here again, so that the tested firmware doesn't set its own limit.
SILENCE_US = 50_000
STANDING_S = 1.5  # A crank that has stood this long requests no help.


class CommandAfterFault(Probe):
    """Millivolts of command after a fault was latched, until somebody switches off and on."""

    def begin(self, world: World, controller: Controller) -> None:
        """Start after a power-up: the rider did it, and a fault that remains is found again."""
        super().begin(world, controller)
        self._latched = False

    def look(self, outputs: Outputs) -> None:
        """Evaluate while the cause exists, and afterwards if it vanished without a request."""
        self._latched = self._latched or self.controller.faults.cause != NO_FAULT
        if self._latched:
            self.saw(float(outputs.command_mv))


class CommandStanding(Probe):
    """Millivolts of command although the crank has long been standing and the throttle is closed."""

    def __init__(self, case: Case) -> None:
        """Start with everything at rest."""
        super().__init__(case)
        self._active_us = 0
        self._standing_us = max(STANDING_S, release_gap_s(case.bike) + 0.1) * US_PER_S

    def look(self, outputs: Outputs) -> None:
        """Evaluate while nobody requests help."""
        world = self.world
        if abs(world.rider.crank_rad_per_s) > TURNING_RAD_PER_S or world.throttle_share > 0.0:
            self._active_us = world.now_us
        elif float(world.now_us - self._active_us) > self._standing_us and world.throttle_wire == WIRE_WHOLE:
            self.saw(float(outputs.command_mv))


class WireLateness(Probe):
    """Milliseconds from the failure of a lever's wire to a command of zero."""

    def begin(self, world: World, controller: Controller) -> None:
        """Start with intact wires."""
        super().begin(world, controller)
        self._failed_us: int | None = None
        self._driving = False

    def look(self, outputs: Outputs) -> None:
        """Measure while a wire is broken or shorted and the command is not zero yet."""
        world = self.world
        if world.throttle_wire == WIRE_WHOLE and world.selector_wire == WIRE_WHOLE:
            self._failed_us = None
            self._driving = outputs.command_mv > 0
            return
        if self._failed_us is None:
            self._failed_us = world.now_us
        if outputs.command_mv > 0:
            self.saw(float(world.now_us - self._failed_us + CONTROL_PERIOD_US) / 1000.0)
        elif self._driving:
            self.saw(0.0)


class LossLateness(Probe):
    """Seconds from the loss of a sensor to a command of zero, while help is requested."""

    def begin(self, world: World, controller: Controller) -> None:
        """Start with an intact sensor."""
        super().begin(world, controller)
        self._lost_us: int | None = None

    def lost(self) -> bool:
        """Tell whether the sensor is lost now."""
        raise NotImplementedError

    def look(self, outputs: Outputs) -> None:
        """Measure until the command is zero."""
        if not self.lost():
            self._lost_us = None
            return
        if self._lost_us is None:
            self._lost_us = self.world.now_us
        if outputs.command_mv > 0:
            self.saw((self.world.now_us - self._lost_us) / US_PER_S)


class WheelLossLateness(LossLateness):
    """Seconds of drive without a wheel sensor."""

    def lost(self) -> bool:
        """Tell whether the wheel sensor is lost."""
        return not self.world.wheel_sensor.working


class ShuntLossLateness(LossLateness):
    """Seconds of drive with a shunt that reads nothing."""

    def lost(self) -> bool:
        """Tell whether the shunt is dead."""
        return self.world.shunt_dead


class StuckShuntHelp(Probe):
    """Seconds for which the command continues after the legs stop while the shunt's reading is stuck."""

    def look(self, outputs: Outputs) -> None:
        """Measure while the reading is stuck."""
        if self.world.shunt_stuck and outputs.command_mv > 0:
            self.saw((self.world.now_us - self.world.last_forward_us) / US_PER_S)


class DriveInStall(Probe):
    """Milliseconds for which the motor still helps after the last step of a stalled loop."""

    def begin(self, world: World, controller: Controller) -> None:
        """Start without a stall."""
        super().begin(world, controller)
        self._step_us = world.now_us

    def look(self, outputs: Outputs) -> None:
        """Evaluate what the motor did since the previous step."""
        self._settle()
        self._step_us = self.world.now_us

    def end(self) -> None:
        """Evaluate a loop that never came back from a stall."""
        self._settle()

    def _settle(self) -> None:
        if self.world.now_us - self._step_us > SILENCE_US:
            self.saw(float(max(self.world.last_assist_us - self._step_us, 0)) / 1000.0)


class CommandAfterStall(Probe):
    """Millivolts above the dead band with which the command comes back after the outputs had expired."""

    def begin(self, world: World, controller: Controller) -> None:
        """Start without a stall."""
        super().begin(world, controller)
        self._step_us = world.now_us

    def look(self, outputs: Outputs) -> None:
        """Look at the first step after a long gap."""
        gap_us = self.world.now_us - self._step_us
        self._step_us = self.world.now_us
        if gap_us > SILENCE_US:
            self.saw(float(max(outputs.command_mv - self.settings.command_start_mv, 0)))


class CommandLog(StepWatch):
    """Every command of a ride."""

    def __init__(self) -> None:
        """Start empty."""
        self.commands_mv: list[int] = []

    def look(self, outputs: Outputs) -> None:
        """Append the command."""
        self.commands_mv.append(outputs.command_mv)


class WrapDifference(Probe):
    """Millivolts between this ride and the same one with the clock's wrap in the middle of it."""

    def __init__(self, case: Case) -> None:
        """Record this ride."""
        super().__init__(case)
        self._log = CommandLog()

    def look(self, outputs: Outputs) -> None:
        """Record."""
        self._log.look(outputs)

    def end(self) -> None:
        """Ride again with the wrap a random way into the ride, and compare."""
        wrap_us = int(self.case.course.seconds * US_PER_S * (0.2 + 0.6 * (self.case.seed % 97) / 97.0))
        start_us = (TICKS_MAX_US + 1 - wrap_us) & TICKS_MAX_US
        twin = Case(self.case.bike, self.case.course, self.case.seed, start_us, build=self.case.build)
        bench = twin.bench()
        log = CommandLog()
        bench.watch(log)
        bench.ride(twin.script(), twin.course.seconds)
        pairs = zip(self._log.commands_mv, log.commands_mv, strict=True)
        self.saw(float(max(abs(one - other) for one, other in pairs)))


class CommandAfterOverrun(Probe):
    """Millivolts of command after crank edges were lost."""

    def look(self, outputs: Outputs) -> None:
        """Look once the log has overrun."""
        if self.world.crank_log.overruns > 0:
            self.saw(float(outputs.command_mv))
