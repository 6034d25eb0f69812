"""Probes of the end of help: what the rules in `stopping` measure."""

from firmware.controller import Controller
from firmware.decide.engagement import ASSISTING
from firmware.records import Outputs
from firmware.settings import DUTY_CODED, Settings
from firmware.ticks import CONTROL_PERIOD_US
from host_sim.bench.clock import US_PER_S
from host_sim.bench.world import TURNING_RAD_PER_S, World
from host_sim.bikes.model import Bike
from host_sim.rules.case import Case
from host_sim.rules.probe import Probe


def edge_gap_share(settings: Settings) -> float:
    """Return the longest gap between edges that show pedalling, as a share of a pitch."""
    return 1.0 if settings.sensor_kind == DUTY_CODED else float(settings.edge_gap_permille) / 1000.0


def release_gap_s(bike: Bike) -> float:
    """Return the longest gap between edges at the release cadence, from the settings, in seconds."""
    settings = bike.firmware_settings
    pitch_s = 60.0 / float(settings.pulses_per_rev * settings.release_rpm)
    return pitch_s * edge_gap_share(settings)


class BackwardHelp(Probe):
    """Seconds of motor help while the crank really turns backward, the longest in a row."""

    def begin(self, world: World, controller: Controller) -> None:
        """Start counting."""
        super().begin(world, controller)
        self._helped_us = 0

    def look(self, outputs: Outputs) -> None:
        """Count a period of help against the legs."""
        world = self.world
        if world.rider.crank_rad_per_s < -TURNING_RAD_PER_S and world.throttle_share == 0.0:
            self._helped_us = self._helped_us + CONTROL_PERIOD_US if world.motor.assisting() else 0
            self.saw(self._helped_us / US_PER_S)
        else:
            self._helped_us = 0


class CutoffDistance(Probe):
    """Metres covered with help since the crank last turned forward, the most.

    Help for an open throttle does not count, nor does its decay.
    """

    def begin(self, world: World, controller: Controller) -> None:
        """Start without the throttle."""
        super().begin(world, controller)
        self._throttled = False

    def look(self, outputs: Outputs) -> None:
        """Measure while the motor helps without the throttle."""
        world = self.world
        helping = world.motor.assisting()
        if world.throttle_share > 0.0:
            self._throttled = True
        elif not helping or world.last_forward_us == world.now_us:
            self._throttled = False
        if helping and not self._throttled:
            self.saw(world.bicycle.distance_m - world.last_forward_m)


class StopLateness(Probe):
    """Milliseconds by which the command fell later than the stop gap allows, after the last edge."""

    watches_edges = True

    def __init__(self, case: Case) -> None:
        """Watch the edges too."""
        super().__init__(case)
        self._edge_us: dict[int, int] = {}
        self._last_us = 0
        self._pitch_us = 0
        self._was_driving = False

    def edge(self, time_us: int, levels: int) -> None:
        """Keep the last edge and the time since the one of the same kind before it."""
        if self.settings.sensor_kind == DUTY_CODED and levels == 0:
            return  # Such a ring tells something only at the rise.
        self._pitch_us = time_us - self._edge_us.get(levels, time_us)
        self._edge_us[levels] = time_us
        self._last_us = time_us

    def look(self, outputs: Outputs) -> None:
        """Compare when the command has just fallen to nothing."""
        driving = outputs.command_mv > 0
        if self._was_driving and not driving:
            gap_us = release_gap_s(self.case.bike) * US_PER_S
            if self._pitch_us > 0:
                gap_us = min(gap_us, float(self._pitch_us * self.settings.stop_pitch_percent) / 100.0)
            speed_m_per_s = self.world.bicycle.speed_m_per_s
            if speed_m_per_s > 0.0:
                left_s = float(self.settings.cutoff_distance_mm) / 1000.0 / speed_m_per_s
                left_s -= float(self.settings.motor_lag_ms) / 1000.0
                gap_us = min(gap_us, max(left_s, 0.0) * US_PER_S)
            self.saw((float(self.world.now_us - self._last_us) - gap_us) / 1000.0)
        self._was_driving = driving


class BrakeLateness(Probe):
    """Milliseconds from the brake to a command of zero."""

    def begin(self, world: World, controller: Controller) -> None:
        """Start with the brake as it is."""
        super().begin(world, controller)
        self._begun_us = world.now_us
        self._pulled_us: int | None = None
        self._driving = False

    def look(self, outputs: Outputs) -> None:
        """Measure while the brake is pulled and the command is not zero yet."""
        world = self.world
        if world.brake_share == 0.0:
            self._pulled_us = None
            self._driving = outputs.command_mv > 0
            return
        if self._pulled_us is None:
            self._pulled_us = max(world.brake_since_us, self._begun_us)
        late_us = world.now_us - self._pulled_us
        if outputs.command_mv > 0:
            self.saw(float(late_us + CONTROL_PERIOD_US) / 1000.0)
        elif self._driving:
            self.saw(float(late_us) / 1000.0)
            self._driving = False


class RunOnAfterNudge(Probe):
    """Seconds for which the command outlasts the crank's movement."""

    def look(self, outputs: Outputs) -> None:
        """Measure while the command is there and the crank is not moving."""
        if outputs.command_mv > 0:
            self.saw((self.world.now_us - self.world.last_forward_us) / US_PER_S)
        elif self.measured is None:
            self.saw(0.0)


class Engagements(Probe):
    """How often the pedals engaged."""

    def __init__(self, case: Case) -> None:
        """Start with none."""
        super().__init__(case)
        self.measured = 0.0
        self._assisting = False

    def look(self, outputs: Outputs) -> None:
        """Count each beginning."""
        assisting = self.controller.engagement.state == ASSISTING
        if assisting and not self._assisting:
            self.saw((self.measured or 0.0) + 1.0)
        self._assisting = assisting


class Lapses(Engagements):
    """How often help lapsed while the legs went on: it ended, or never began."""

    def __init__(self, case: Case) -> None:
        """Start with none."""
        super().__init__(case)
        self._ends = 0

    def look(self, outputs: Outputs) -> None:
        """Count each end."""
        assisted = self._assisting
        super().look(outputs)
        if assisted and not self._assisting:
            self._ends += 1

    def end(self) -> None:
        """No beginning at all is a lapse too."""
        self.measured = float(self._ends) if self.measured else 1.0


class RockingHelp(Probe):
    """Seconds of motor help since the crank last gained new ground, while it rocks."""

    def begin(self, world: World, controller: Controller) -> None:
        """Start with the crank where it is."""
        super().begin(world, controller)
        self._front_rad = world.rider.crank_rad
        self._gained_us = world.now_us
        self._turned_back = False

    def look(self, outputs: Outputs) -> None:
        """Measure once the crank has turned back, until it goes beyond where it was."""
        rider = self.world.rider
        if rider.crank_rad > self._front_rad:
            self._front_rad = rider.crank_rad
            self._gained_us = self.world.now_us
            self._turned_back = False
        elif rider.crank_rad_per_s < -TURNING_RAD_PER_S:
            self._turned_back = True
        if self._turned_back:
            helping = self.world.motor.assisting()
            self.saw((self.world.now_us - self._gained_us) / US_PER_S if helping else 0.0)


class BackwardEdges(Probe):
    """Edges of the crank turning backward that left the command on, the most in a row."""

    watches_edges = True

    def __init__(self, case: Case) -> None:
        """Watch the edges too."""
        super().__init__(case)
        self._edges = 0

    def edge(self, time_us: int, levels: int) -> None:
        """Count."""
        self._edges += 1

    def look(self, outputs: Outputs) -> None:
        """Count from where the crank turns round; an edge younger than a step is not known yet."""
        if self.world.rider.crank_rad_per_s >= -TURNING_RAD_PER_S or self.world.throttle_share > 0.0:
            self._edges = 0
            self._driving = outputs.command_mv > 0
            return
        if outputs.command_mv > 0:
            self.saw(float(self._edges))
        elif self._driving:
            self.saw(0.0)
