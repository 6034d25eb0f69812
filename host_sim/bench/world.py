"""The world around the controller: all parts of the plant combined, and their faults.

It does not use a controller: it takes a command voltage that is valid until a certain time, and gives edges
and voltages. The bench moves it from event to event in steps of at most 5 ms.
"""

from random import Random

from firmware.records import EdgeLog
from host_sim.bench.board_clock import BoardClock
from host_sim.bench.distortion import CONTACT_LOST_LONGEST_S
from host_sim.bench.drive_faults import DriveFaults
from host_sim.bench.edge_watch import EdgeWatch as EdgeWatch  # Re-exported.
from host_sim.bench.noise import Noise
from host_sim.bench.readings import Readings
from host_sim.bench.wheel_faults import WheelFaults
from host_sim.plant.battery import Battery
from host_sim.plant.bicycle import Bicycle
from host_sim.plant.motor import Motor
from host_sim.plant.pedal_sensor import FREE, STUCK_LOW, PedalSensor
from host_sim.plant.rider import Rider
from host_sim.plant.wheel_sensor import WheelSensor

PLANT_STEP_US = 5_000
FAULT_SEED = 0x5EED  # Makes another sequence of random numbers from the same seed.

WIRE_WHOLE = 0
WIRE_OPEN = 1
WIRE_SHORTED = 2
WIRE_STUCK = 3

SHORTED_V = 5.0  # The levers' supply.
NOISE_PULSE_LONGEST_S = 0.002
BOUNCES = 3
BOUNCE_S = 0.0003  # Under 1 ms: common for contacts; reed-sensor.com glossary gives 0.5 to 1 ms.
TURNING_RAD_PER_S = 0.05  # Half a revolution per minute: slower is standing.


class PlantWatch:
    """Called after every step of the plant, independent of the controller."""

    def passed(self, world: "World", elapsed_s: float) -> None:
        """Observe the world after a step of `elapsed_s`."""


class SensorState:
    """The target state of the pedal sensor, stored while faults change."""

    __slots__ = (
        "channel_shares",
        "channel_states",
        "channels_swapped",
        "jump_us",
        "magnet_strengths",
        "pulses_multiple",
    )

    def __init__(self, world: "World") -> None:
        """Store the present state of `world`, and how far its clock has jumped."""
        self.channel_states = world.channel_states
        self.channels_swapped = world.channels_swapped
        self.magnet_strengths = world.magnet_strengths
        self.channel_shares = world.channel_shares
        self.pulses_multiple = world.pulses_multiple
        self.jump_us = world.board_clock.jump_us


class World:
    """The bicycle, its rider and the road, with time in microseconds since the start.

    `roller_m_per_s` is the speed that a roller gives the wheel, below 0 on the road.

    Set by the ride at any time: `grade`, `wind_m_per_s`, `brake_share`, `throttle_share`, `selector_v`,
    the fields of `rider`. Set by the board: `command_v` and `command_until_us`. `plant_step_us` is the
    longest step of the plant, at most PLANT_STEP_US.
    """

    __slots__ = (
        "_edge_watches",
        "_fault_random",
        "_lost_channels",
        "_lost_until_us",
        "_overlay",
        "_plant_watches",
        "_random",
        "_toggles",
        "_true_levels",
        "assist_j",
        "battery",
        "battery_wire",
        "bicycle",
        "board_clock",
        "bounces",
        "brake_share",
        "brake_since_us",
        "channel_shares",
        "channel_states",
        "channels",
        "channels_lost",
        "channels_lost_per_s",
        "channels_swapped",
        "command_until_us",
        "command_v",
        "crank_log",
        "drive_faults",
        "first_channel",
        "grade",
        "interference_channel",
        "interference_per_s",
        "interference_pulse_s",
        "last_assist_us",
        "last_forward_m",
        "last_forward_us",
        "magnet_strengths",
        "motor",
        "noise_per_s",
        "now_us",
        "pedal_sensor",
        "plant_step_us",
        "pulses_multiple",
        "pulses_per_rev",
        "readings",
        "rider",
        "rider_j",
        "roller_m_per_s",
        "selector_v",
        "selector_wire",
        "shunt_dead",
        "shunt_stuck",
        "stall_us",
        "throttle_closed_us",
        "throttle_share",
        "throttle_wire",
        "wheel_faults",
        "wheel_log",
        "wheel_sensor",
        "wind_m_per_s",
    )

    def __init__(
        self,
        bicycle: Bicycle,
        rider: Rider,
        motor: Motor,
        battery: Battery,
        pedal_sensor: PedalSensor,
        wheel_sensor: WheelSensor,
        pulses_per_rev: int,
        channels: int,
        seed: int,
        ticks_at_start_us: int,
        first_channel: int = 0,
    ) -> None:
        """Join the parts. `ticks_at_start_us` is what the microcontroller's clock shows at time 0.

        `channels` (1 or 2) is how many wires of the pedal sensor reach the controller, `first_channel` the
        first of them: 0 channel A, 1 channel B.
        """
        self.bicycle = bicycle
        self.rider = rider
        self.motor = motor
        self.battery = battery
        self.pedal_sensor = pedal_sensor
        self.wheel_sensor = wheel_sensor
        self.pulses_per_rev = pulses_per_rev
        self.channels = channels
        self.first_channel = first_channel
        self.crank_log = EdgeLog()
        self.wheel_log = EdgeLog()
        self._random = Random(seed)
        # Separate, so that other faults keep their random numbers.
        self._fault_random = Random(seed ^ FAULT_SEED)
        self._edge_watches: list[EdgeWatch] = []
        self._plant_watches: list[PlantWatch] = []
        self._true_levels = pedal_sensor.levels
        self._overlay = 0  # The present effect of noise on the levels.
        self._toggles: list[tuple[float, int]] = []
        self.now_us = 0
        self.plant_step_us = PLANT_STEP_US
        self.grade = 0.0
        self.wind_m_per_s = 0.0
        self.brake_share = 0.0
        self.throttle_share = 0.0
        self.selector_v = 0.0
        self.command_v = 0.0
        self.command_until_us = 0
        self.rider_j = 0.0
        self.assist_j = 0.0
        self.roller_m_per_s = -1.0
        self.brake_since_us = 0
        self.throttle_closed_us = 0
        self.last_assist_us = 0
        self.last_forward_us = 0
        self.last_forward_m = 0.0
        self.board_clock = BoardClock(ticks_at_start_us)
        self.drive_faults = DriveFaults(self._fault_random)
        self.wheel_faults = WheelFaults(self._fault_random)
        self.readings = Readings(self._fault_random, Noise(seed ^ FAULT_SEED))
        self._lost_channels = 0
        self._lost_until_us = 0
        self.heal()
        self.settle_readings()

    def heal(self) -> None:
        """End every fault; those of the pedal sensor end at `settle_sensor`."""
        self.channel_states = [FREE, FREE]
        self.channels_swapped = False
        self.magnet_strengths = [1.0] * self.pulses_per_rev
        self.channel_shares = [1.0] * (2 * self.pulses_per_rev)  # Of each magnet: channel A, channel B.
        self.pulses_multiple = 1
        self.noise_per_s = 0.0
        self.interference_per_s = 0.0
        self.interference_pulse_s = 0.0
        self.interference_channel = 0
        self.channels_lost_per_s = 0.0
        self.channels_lost = 0
        self.bounces = False
        self.throttle_wire = WIRE_WHOLE
        self.selector_wire = WIRE_WHOLE
        self.battery_wire = WIRE_WHOLE
        self.wheel_sensor.working = True
        self.wheel_sensor.pulses_share = 1.0
        self.shunt_stuck = False
        self.shunt_dead = False
        self.stall_us = 0
        self.board_clock.heal()
        self.drive_faults.heal()
        self.wheel_faults.heal()
        self.readings.heal()

    def settle_readings(self) -> None:
        """Apply the faults of readings, drive and wheel pulses that are set now."""
        self.drive_faults.settle()
        self.wheel_faults.settle()
        self.readings.settle(self.now_us)

    def settle_sensor(self, before: "SensorState") -> None:
        """Bring the pedal sensor to its target state; `before` is the previous one.

        Unchanged parts are not touched: a dead channel keeps the level at which it died.
        """
        sensor = self.pedal_sensor
        if self.channels_lost == 0:
            self._regain_channels()
        for channel in (0, 1):
            if self.channel_states[channel] != before.channel_states[channel]:
                sensor.set_channel(channel, FREE)
                sensor.set_channel(channel, self.channel_states[channel])
        if self.channels_swapped != before.channels_swapped:
            sensor.swap_channels(self.channels_swapped)
        if self.pulses_multiple != before.pulses_multiple:
            sensor.multiply_pulses(self.pulses_multiple)
        for magnet in range(self.pulses_per_rev):
            if self.magnet_strengths[magnet] != before.magnet_strengths[magnet]:
                sensor.set_magnet(magnet, self.magnet_strengths[magnet])
            for channel in (0, 1):
                place = magnet + magnet + channel
                if self.channel_shares[place] != before.channel_shares[place]:
                    sensor.set_magnet_on_channel(channel, magnet, self.channel_shares[place])

    def pull_brake(self, share: float) -> None:
        """Pull the brake by `share` of its travel (0 to 1); `brake_since_us` is the time of it."""
        if share > 0.0 and self.brake_share == 0.0:
            self.brake_since_us = self.now_us
        self.brake_share = share

    def turn_throttle(self, share: float) -> None:
        """Turn the throttle by `share` of its travel (0 to 1); `throttle_closed_us`: last time it closed."""
        if share == 0.0 and self.throttle_share > 0.0:
            self.throttle_closed_us = self.now_us
        self.throttle_share = share

    def watch_edges(self, edge_watch: EdgeWatch) -> None:
        """Show every crank edge to `edge_watch` from now on."""
        self._edge_watches.append(edge_watch)

    def watch_plant(self, plant_watch: PlantWatch) -> None:
        """Show every step of the plant to `plant_watch` from now on."""
        self._plant_watches.append(plant_watch)

    def connect(self, crank_log: EdgeLog, wheel_log: EdgeLog) -> None:
        """Record edges into these logs from now on, for one controller."""
        self.crank_log = crank_log
        self.wheel_log = wheel_log

    def ticks_us(self, time_us: int) -> int:
        """Return the microcontroller's clock at `time_us`."""
        return self.board_clock.ticks_us(time_us)

    def advance(self, to_us: int) -> None:
        """Move everything to `to_us`, in steps that end where the command expires."""
        while self.now_us < to_us:
            next_us = min(to_us, self.now_us + self.plant_step_us)
            if self.now_us < self.command_until_us < next_us:
                next_us = self.command_until_us
            self._step(next_us - self.now_us)

    def _step(self, elapsed_us: int) -> None:
        elapsed_s = float(elapsed_us) * 1e-6
        start_s = float(self.now_us) * 1e-6
        rider = self.rider
        bicycle = self.bicycle
        motor = self.motor
        speed_m_per_s = bicycle.speed_m_per_s
        crank_rad = rider.crank_rad
        distance_m = bicycle.distance_m
        # A board goes to the safe state when its outputs are not renewed in time.
        command_v = self.command_v if self.now_us < self.command_until_us else 0.0
        force_n = rider.step(speed_m_per_s, elapsed_s)
        drive_faults = self.drive_faults
        slipped_m = drive_faults.slipped_m
        if drive_faults.active:
            command_v = drive_faults.arriving_v(command_v, self.now_us, elapsed_s)
            wheel_m_per_s = speed_m_per_s + drive_faults.slipping_m_per_s
            motor_n = motor.step(command_v, self.battery.voltage_v, wheel_m_per_s, elapsed_s)
            force_n += drive_faults.slip(motor_n, elapsed_s)
        else:
            force_n += motor.step(command_v, self.battery.voltage_v, speed_m_per_s, elapsed_s)
        self.battery.step(motor.battery_current_a, elapsed_s)
        if self.roller_m_per_s < 0.0:
            bicycle.step(force_n, self.brake_share, self.grade, self.wind_m_per_s, elapsed_s)
        else:
            bicycle.speed_m_per_s = self.roller_m_per_s
            bicycle.distance_m += self.roller_m_per_s * elapsed_s
        self.rider_j += rider.delivered_power_w * elapsed_s
        self.assist_j += motor.power_w * elapsed_s
        edges = self.pedal_sensor.advance(crank_rad, rider.crank_rad, start_s, elapsed_s)
        if self.channels_lost_per_s > 0.0:
            self._lose_channels(elapsed_s)
        if self.noise_per_s > 0.0 or self.bounces or self._toggles or self.interference_per_s > 0.0:
            self._note_noisy_edges(edges, start_s, elapsed_s)
        else:
            for index in range(edges):
                self._true_levels = self.pedal_sensor.edge_levels[index]
                self._note_edge(int(self.pedal_sensor.edge_times_s[index] * 1e6), self._true_levels)
        from_m = distance_m + slipped_m  # The sensor is on the motor's wheel.
        to_m = bicycle.distance_m + drive_faults.slipped_m
        pulses = self.wheel_sensor.advance(from_m, to_m, start_s, elapsed_s)
        if self.wheel_faults.active:
            for time_s in self.wheel_faults.times_s(self.wheel_sensor, pulses, self.now_us, elapsed_us):
                self.wheel_log.record(1, self.ticks_us(int(time_s * 1e6)))
        else:
            for index in range(pulses):
                self.wheel_log.record(1, self.ticks_us(int(self.wheel_sensor.edge_times_s[index] * 1e6)))
        self.now_us += elapsed_us
        if motor.assisting():
            self.last_assist_us = self.now_us
        if rider.crank_rad_per_s > TURNING_RAD_PER_S:
            self.last_forward_us = self.now_us
            self.last_forward_m = bicycle.distance_m
        for plant_watch in self._plant_watches:
            plant_watch.passed(self, elapsed_s)

    def _lose_channels(self, elapsed_s: float) -> None:
        """Let a loose contact of the pedal sensor open and close: while open, a channel reads low."""
        if self._lost_channels != 0:
            if self.now_us >= self._lost_until_us:
                self._regain_channels()
        elif self._fault_random.random() < self.channels_lost_per_s * elapsed_s:
            self._lost_channels = self.channels_lost
            lost_us = int(self._fault_random.random() * CONTACT_LOST_LONGEST_S * 1e6)
            self._lost_until_us = self.now_us + lost_us
            for channel in (0, 1):
                if self._lost_channels >> channel & 1:
                    self.pedal_sensor.set_channel(channel, STUCK_LOW)

    def _regain_channels(self) -> None:
        for channel in (0, 1):
            if self._lost_channels >> channel & 1:
                self.pedal_sensor.set_channel(channel, FREE)
        self._lost_channels = 0

    def _interfere(self, elapsed_s: float) -> None:
        """Schedule the periodic pulses that begin in this step."""
        number = int(float(self.now_us) * 1e-6 * self.interference_per_s) + 1
        end_us = self.now_us + int(elapsed_s * 1e6 + 0.5)
        last = int(float(end_us) * 1e-6 * self.interference_per_s)
        while number <= last:
            begin_s = float(number) / self.interference_per_s
            self._toggles.append((begin_s, self.interference_channel))
            self._toggles.append((begin_s + self.interference_pulse_s, self.interference_channel))
            number += 1

    def _note_edge(self, time_us: int, levels: int) -> None:
        self.crank_log.record(levels, self.ticks_us(time_us))
        for edge_watch in self._edge_watches:
            edge_watch.edge(time_us, levels)

    def _note_noisy_edges(self, edges: int, start_s: float, elapsed_s: float) -> None:
        """Add noise pulses and bounces to the step's edges, all in order of time."""
        sensor = self.pedal_sensor
        before = self._true_levels
        happenings: list[tuple[float, int, int]] = []  # Time, true levels or -1, mask to toggle.
        for index in range(edges):
            levels = sensor.edge_levels[index]
            happenings.append((sensor.edge_times_s[index], levels, 0))
            if self.bounces:
                for half in range(2, 2 + 2 * BOUNCES):
                    self._toggles.append((sensor.edge_times_s[index] + half * BOUNCE_S, levels ^ before))
            before = levels
        expected = self.noise_per_s * elapsed_s
        while self._random.random() < expected:
            begin_s = start_s + self._random.random() * elapsed_s
            channel = 1 << (self.first_channel + self._random.randrange(self.channels))
            self._toggles.append((begin_s, channel))
            self._toggles.append((begin_s + self._random.random() * NOISE_PULSE_LONGEST_S, channel))
            expected -= 1.0
        if self.interference_per_s > 0.0:
            self._interfere(elapsed_s)
        end_s = start_s + elapsed_s
        happenings += [(time_s, -1, mask) for time_s, mask in self._toggles if time_s <= end_s]
        self._toggles = [toggle for toggle in self._toggles if toggle[0] > end_s]
        happenings.sort()
        for time_s, levels, mask in happenings:
            if levels >= 0:
                self._true_levels = levels
            self._overlay ^= mask
            self._note_edge(int(time_s * 1e6), self._true_levels ^ self._overlay)
