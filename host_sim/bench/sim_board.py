"""The simulated board: the same three methods as a real one, connected to the simulated world."""

from firmware.controller import Controller
from firmware.loop import Board
from firmware.records import Inputs, Outputs
from firmware.ticks import CONTROL_PERIOD_US
from host_sim.bench.clock import Agenda, Event
from host_sim.bench.noise import Noise
from host_sim.bench.world import SHORTED_V, WIRE_OPEN, WIRE_SHORTED, WIRE_STUCK, WIRE_WHOLE, World

SUPPLY_NOISE_MV = 20.0  # One sigma of the battery reading; common practice, no source.


class Levers:
    """The voltages of the levers' wires, and which electrical parts are fitted.

    `brake_switch` tells whether pulling the brake opens a switch. Voltages in volts at the controller.
    """

    __slots__ = (
        "brake_switch",
        "selector_high_v",
        "selector_low_v",
        "selector_positions",
        "shunt_noise_a",
        "shunt_step_a",
        "throttle_full_v",
        "throttle_rest_v",
    )

    def __init__(
        self,
        throttle_rest_v: float,
        throttle_full_v: float,
        selector_low_v: float,
        selector_high_v: float,
        selector_positions: int,
        brake_switch: bool,
        shunt_noise_a: float,
        shunt_step_a: float,
    ) -> None:
        """Take the values of the bike file; `selector_positions` 0 or 1 for a potentiometer."""
        self.selector_low_v = selector_low_v
        self.selector_high_v = selector_high_v
        self.selector_positions = selector_positions
        self.throttle_rest_v = throttle_rest_v
        self.throttle_full_v = throttle_full_v
        self.brake_switch = brake_switch
        self.shunt_noise_a = shunt_noise_a
        self.shunt_step_a = shunt_step_a

    def selector_v(self, share: float, position: int | None) -> float:
        """Return the selector's voltage at a share of its travel (0 to 1) or at a position (from 1)."""
        if position is not None:
            share = (position - 1) / max(self.selector_positions - 1, 1)
        return self.selector_low_v + (self.selector_high_v - self.selector_low_v) * min(share, 1.0)


class Restart(Exception):
    """The microcontroller lost its supply and restarts."""


class RideOver(Exception):
    """The ride has ended."""


class PeriodMissed(Event):
    """The start of a control period that never runs."""

    def happen(self) -> None:
        """Do nothing: the controller that waited for this moment has lost its supply."""


class StepWatch:
    """An observer that is called in each control period, after the outputs have been written."""

    def begin(self, world: World, controller: Controller) -> None:
        """Register the world and a new controller: at the start, and after every loss of supply."""

    def look(self, outputs: Outputs) -> None:
        """Observe the step that has just run."""

    def look_unpowered(self, world: World) -> None:
        """Observe the world once in each control period while the controller has no supply."""


class SimBoard(Board):
    """A board whose interrupts, converters and clock are simulated.

    `read` moves the world to the next control period, event by event; it raises RideOver at the end and
    Restart at a brown-out.
    """

    __slots__ = (
        "_agenda",
        "_due_number",
        "_due_us",
        "_end_us",
        "_levers",
        "_noise",
        "_over",
        "_selector_mv",
        "_throttle_mv",
        "_watches",
        "_world",
        "clear_requested",
        "powered",
        "watchdog_feeds",
    )

    def __init__(self, world: World, agenda: Agenda, levers: Levers, end_us: int, seed: int) -> None:
        """Join the board to a world; the first control period is due now."""
        self._world = world
        self._agenda = agenda
        self._levers = levers
        self._end_us = end_us
        self._noise = Noise(seed)
        # The next control period: an event like the others, so frequent that it is kept outside the agenda.
        self._due_us = agenda.now_us
        self._due_number = agenda.number()
        self._throttle_mv = 0
        self._selector_mv = 0
        self._watches: list[StepWatch] = []
        self._over = False
        self.clear_requested = False
        self.powered = True
        self.watchdog_feeds = 0

    def watch_steps(self, watch: StepWatch) -> None:
        """Show the world to `watch` after every step."""
        self._watches.append(watch)

    def read(self, inputs: Inputs) -> int:
        """Move the world to the next control period and measure; return the time on the board's clock."""
        agenda = self._agenda
        world = self._world
        while not self._period_is_next():
            self._next_event().happen()
            if not self.powered:
                # This controller has lost its supply, so it doesn't run its next step.
                agenda.put(self._due_us, PeriodMissed())
                self._set_due(agenda.now_us)
                raise Restart
        self._begin_period()
        self._set_due(agenda.now_us + max(CONTROL_PERIOD_US, world.stall_us))
        if inputs.crank is not world.crank_log:
            world.connect(inputs.crank, inputs.wheel)
        self._measure(inputs)
        inputs.sampled_us = world.ticks_us(agenda.now_us)
        return inputs.sampled_us

    def write(self, outputs: Outputs) -> None:
        """Output the command until it expires."""
        world = self._world
        world.command_v = float(outputs.command_mv) * 1e-3
        world.command_until_us = world.now_us + outputs.valid_for_us
        if self._over or not self.powered:
            return  # The loop's last write, not a step: the ride or the supply has ended.
        for watch in self._watches:
            watch.look(outputs)

    def start(self, controller: Controller) -> None:
        """Notify all watches that this controller runs from now on."""
        for watch in self._watches:
            watch.begin(self._world, controller)

    def wait_for_power(self) -> None:
        """Move the world on until the supply is back; RideOver if the ride ends before."""
        while not self.powered:
            if self._period_is_next():
                self._begin_period()
                self._set_due(self._agenda.now_us + CONTROL_PERIOD_US)
                for watch in self._watches:
                    watch.look_unpowered(self._world)
            else:
                self._next_event().happen()

    def feed_watchdog(self) -> None:
        """Count the completed step."""
        self.watchdog_feeds += 1

    def _set_due(self, time_us: int) -> None:
        """Schedule the next control period."""
        self._due_us = time_us
        self._due_number = self._agenda.number()

    def _period_is_next(self) -> bool:
        """Return whether the control period is due before every event of the agenda."""
        agenda = self._agenda
        if self._due_us != agenda.first_us:
            return self._due_us < agenda.first_us
        return self._due_number < agenda.first_number

    def _begin_period(self) -> None:
        """Move the world to the control period that is due; RideOver if the ride ends before."""
        if self._due_us > self._end_us:
            self._end()
        self._agenda.now_us = self._due_us
        self._world.advance(self._due_us)

    def _next_event(self) -> Event:
        """Take the next event and move the world to it; RideOver if the ride ends before."""
        agenda = self._agenda
        if agenda.first_us > self._end_us:
            self._end()
        event = agenda.take()
        self._world.advance(agenda.now_us)
        return event

    def _end(self) -> None:
        """Move the world to the end of the ride and raise RideOver."""
        self._world.advance(self._end_us)
        self._over = True
        raise RideOver

    def _measure(self, inputs: Inputs) -> None:
        world = self._world
        levers = self._levers
        throttle_v = levers.throttle_rest_v
        throttle_v += (levers.throttle_full_v - levers.throttle_rest_v) * world.throttle_share
        self._throttle_mv = _wire_mv(world.throttle_wire, throttle_v, self._throttle_mv)
        self._selector_mv = _wire_mv(world.selector_wire, world.selector_v, self._selector_mv)
        inputs.throttle_mv = self._throttle_mv
        inputs.selector_mv = self._selector_mv
        inputs.brake_pulled = levers.brake_switch and world.brake_share > 0.0
        noise = self._noise.next()
        battery_mv = int(world.battery.voltage_v * 1e3 + noise * SUPPLY_NOISE_MV)
        inputs.battery_mv = 0 if world.battery_wire == WIRE_OPEN else max(battery_mv, 0)
        if not world.shunt_stuck:
            current_a = world.motor.battery_current_a + noise * levers.shunt_noise_a
            steps = int(current_a / levers.shunt_step_a + 0.5) if current_a > 0.0 else 0
            inputs.current_ma = int(steps * levers.shunt_step_a * 1e3)
        if world.shunt_dead:
            inputs.current_ma = 0
        inputs.motor_decicelsius = int(world.motor.temperature_celsius * 10.0)
        inputs.clear_requested = self.clear_requested
        if world.readings.faulty:
            world.readings.distort(inputs, world.now_us)


def _wire_mv(wire: int, true_v: float, last_mv: int) -> int:
    """Return the voltage at the controller: an open wire is pulled down, a shorted one is at the supply."""
    if wire == WIRE_WHOLE:
        return int(true_v * 1e3)
    if wire == WIRE_STUCK:
        return last_mv
    return int(SHORTED_V * 1e3) if wire == WIRE_SHORTED else 0
