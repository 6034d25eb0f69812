"""The totals of a ride: distances, energies, engagements and the longest run-on, updated during the ride.

Measured on the plant, not on the controller's estimates: forward pedalling has stopped when the
crank has, and assistance has ended when the motor's current is at or below its no-load current
(EN 15194 3.23, by the parallel text TBIS 15194:2019). Help that an open throttle may request while the
crank rests is not run-on, and neither is its decay; when the crank turns forward, help counts again.
"""

from firmware.controller import Controller
from firmware.decide.engagement import ASSISTING, STATE_NAMES
from firmware.guard.faults import CAUSE_NAMES
from firmware.records import Outputs
from firmware.settings import THROTTLE_BELOW_STARTUP_SPEED, THROTTLE_FREELY
from host_sim.bench.clock import US_PER_S
from host_sim.bench.sim_board import StepWatch
from host_sim.bench.world import World

J_PER_WH = 3600.0


class RideEvent:
    """One event of the ride: `time_s` and `text`."""

    __slots__ = ("text", "time_s")

    def __init__(self, time_s: float, text: str) -> None:
        """Store an event."""
        self.time_s = time_s
        self.text = text


EVENTS_KEPT = 20_000  # Nobody reads more events than this; counting continues.


class Meter(StepWatch):
    """Observes a ride. Its fields are the numbers that `treadle ride` prints."""

    def __init__(self) -> None:
        """Start at zero."""
        self.engagements = 0
        self.first_assist_s: float | None = None
        self.longest_run_on_s = 0.0
        self.longest_cutoff_distance_m = 0.0
        self.max_command_mv = 0
        self.max_speed_m_per_s = 0.0
        self.faults: list[str] = []
        self.events: list[RideEvent] = []
        self.events_dropped = 0
        self.world: World | None = None
        self._state = 0
        self._fault = 0
        self._throttled = False
        self._powered = False

    def begin(self, world: World, controller: Controller) -> None:
        """Register a controller that has just been switched on."""
        self.world = world
        self._seen_world = world
        self._controller = controller
        self._state = controller.engagement.state
        self._fault = 0
        self._powered = True
        self._note("power on")

    def look(self, outputs: Outputs) -> None:
        """Evaluate one control period."""
        world = self._seen_world
        state = self._controller.engagement.state
        if outputs.command_mv > self.max_command_mv:
            self.max_command_mv = outputs.command_mv
        self._look_at(world)
        if state != self._state:
            if state == ASSISTING:
                self.engagements += 1
            self._state = state
            self._note(STATE_NAMES[state])
        if outputs.fault_cause != self._fault:
            self._fault = outputs.fault_cause
            if self._fault:
                self.faults.append(CAUSE_NAMES[self._fault])
                self._note(CAUSE_NAMES[self._fault])

    def look_unpowered(self, world: World) -> None:
        """Evaluate one control period without supply; remaining help still counts."""
        self.world = world
        self._seen_world = world
        if self._powered:
            self._powered = False
            self._note("power off")
        self._look_at(world)

    def _look_at(self, world: World) -> None:
        if world.bicycle.speed_m_per_s > self.max_speed_m_per_s:
            self.max_speed_m_per_s = world.bicycle.speed_m_per_s
        assisting = world.motor.assisting()
        if world.last_forward_us == world.now_us:
            self._throttled = False  # The crank turns forward now: the help belongs to pedalling.
        elif world.throttle_share > 0.0:
            self._throttled = self._throttled or self._throttle_may_drive(world)
        elif not assisting:
            self._throttled = False
        if assisting:
            self._assisting(world)

    def _throttle_may_drive(self, world: World) -> bool:
        if not self._powered:
            return False
        settings = self._controller.settings
        if settings.throttle_unpedalled == THROTTLE_BELOW_STARTUP_SPEED:
            return world.bicycle.speed_m_per_s * 1000.0 <= float(settings.startup_speed_mm_per_s)
        return settings.throttle_unpedalled == THROTTLE_FREELY

    def _assisting(self, world: World) -> None:
        if self.first_assist_s is None:
            self.first_assist_s = world.now_us / US_PER_S
        if self._throttled:
            return  # Help that the throttle requested is not run-on of pedalling.
        run_on_s = (world.now_us - world.last_forward_us) / US_PER_S
        if run_on_s > self.longest_run_on_s:
            self.longest_run_on_s = run_on_s
        cutoff_m = world.bicycle.distance_m - world.last_forward_m
        if cutoff_m > self.longest_cutoff_distance_m:
            self.longest_cutoff_distance_m = cutoff_m

    def _note(self, text: str) -> None:
        if len(self.events) < EVENTS_KEPT:
            self.events.append(RideEvent(self._seen_world.now_us / US_PER_S, text))
        else:
            self.events_dropped += 1
