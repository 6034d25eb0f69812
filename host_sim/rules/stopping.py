"""Rules about the end of help: forward pedalling only, cut-off distance, stop time, brake, nudges."""

from firmware.controller import Controller
from firmware.decide.engagement import ASSISTING
from firmware.loop import CONTROL_PERIOD_US
from firmware.records import Outputs
from firmware.settings import DUTY_CODED, ONE_CHANNEL, TWO_CHANNELS
from host_sim.bench.clock import US_PER_S
from host_sim.bench.world import TURNING_RAD_PER_S, World
from host_sim.bikes.model import Bike
from host_sim.bikes.settings_of import cutoff_distance_m
from host_sim.rules import scenarios as rides
from host_sim.rules.case import Case
from host_sim.rules.riding import KM_PER_H
from host_sim.rules.rule import COMMON_PRACTICE, Probe, Rule

EN = "EN 15194:2017 {}, by the parallel text TBIS 15194:2019"
NUDGE_RUN_ON_S = 0.6


def release_gap_s(bike: Bike) -> float:
    """Return the longest gap between edges at the release cadence, from the settings, in seconds."""
    settings = bike.firmware_settings
    share = 1.0 if settings.sensor_kind == DUTY_CODED else settings.edge_gap_permille / 1000.0
    return 60.0 / (settings.pulses_per_rev * settings.release_rpm) * share


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

    What an open throttle may ask for is no run-on, nor is its fading out.
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
                gap_us = min(gap_us, self._pitch_us * self.settings.stop_pitch_percent / 100.0)
            speed_m_per_s = self.world.bicycle.speed_m_per_s
            if speed_m_per_s > 0.0:
                left_s = self.settings.cutoff_distance_mm / 1000.0 / speed_m_per_s
                left_s -= self.settings.motor_lag_ms / 1000.0
                gap_us = min(gap_us, max(left_s, 0.0) * US_PER_S)
            self.saw((self.world.now_us - self._last_us - gap_us) / 1000.0)
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
            self.saw((late_us + CONTROL_PERIOD_US) / 1000.0)
        elif self._driving:
            self.saw(late_us / 1000.0)
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


def backward_limit_s(bike: Bike) -> float:
    """Help against the legs may last no longer than a plain stop: release gap, motor lag, two periods."""
    settings = bike.firmware_settings
    return release_gap_s(bike) + settings.motor_lag_ms / 1000.0 + 2.0 * CONTROL_PERIOD_US / US_PER_S


def _backward_edges_limit(bike: Bike) -> float | None:
    """The edges asked for, and one that the step has not seen yet; whole pitches on a duty-coded ring."""
    settings = bike.firmware_settings
    if settings.sensor_kind == ONE_CHANNEL:
        return None  # "forward pedalling only" says so.
    if settings.sensor_kind == TWO_CHANNELS:
        return settings.backward_edges + 1.0
    return 2.0 * ((settings.backward_edges + 1) // 2) + 4.0


def distance_limit_m(bike: Bike) -> float:
    """Return the cut-off distance that the place allows, or the bike's own where its text has none."""
    distance_m = cutoff_distance_m(bike, bike.place_profile)
    return bike.firmware_settings.cutoff_distance_mm / 1000.0 if distance_m is None else distance_m


def _no_direction(bike: Bike, measured: float, limit: float) -> str:
    if bike.firmware_settings.sensor_kind == ONE_CHANNEL:
        return (
            "one channel can't tell forward from backward, nor rocking from pedalling: "
            "fit a sensor with two channels, or a duty-coded one"
        )
    if bike.firmware_settings.sensor_kind == DUTY_CODED:
        return (
            "a duty-coded ring tells the direction once a pitch, by times: rocking over an edge can look "
            "like slow pedalling. Fit a sensor with two channels"
        )
    return "see lead and backward_edges"


def _distance_cure(bike: Bike, measured: float, limit: float) -> str:
    numbers = f"{measured:.2f} m against {limit:.2f} m"
    if bike.firmware_settings.sensor_kind == ONE_CHANNEL:
        return f"{numbers}, pedalling backward or not: {_no_direction(bike, measured, limit)}"
    return (
        f"{numbers}: a smaller cutoff_distance_mm, a true motor_lag_ms, "
        "or switches on every brake where the place then allows more"
    )


def ring_can_show_rpm(bike: Bike) -> float:
    """Return the slowest cadence whose edges still come within the stop gap at the start of the taper."""
    settings = bike.firmware_settings
    speed_m_per_s = settings.taper_start_mm_per_s / 1000.0
    gap_s = settings.cutoff_distance_mm / 1000.0 / speed_m_per_s - settings.motor_lag_ms / 1000.0
    share = 1.0 if settings.sensor_kind == DUTY_CODED else settings.edge_gap_permille / 1000.0
    return 60.0 * share / (settings.pulses_per_rev * gap_s)


def _steady_cure(bike: Bike, measured: float, limit: float) -> str:
    settings = bike.firmware_settings
    speed = settings.taper_start_mm_per_s * KM_PER_H
    return (
        f"{settings.pulses_per_rev} pulses, {settings.cutoff_distance_mm / 1000:g} m and {speed:.1f} km/h "
        f"collide: below {ring_can_show_rpm(bike):.0f} rpm the next edge comes too late. More pulses, "
        "a second channel, "
        "switches on every brake where the place then allows more, or a lower cut-off speed"
    )


def _hunting_cure(bike: Bike, measured: float, limit: float) -> str:
    settings = bike.firmware_settings
    if ring_can_show_rpm(bike) > settings.release_rpm:
        return _steady_cure(bike, measured, limit)
    return f"engage_rpm {settings.engage_rpm} and release_rpm {settings.release_rpm} are too near"


STOPPING = (
    Rule(
        "forward pedalling only",
        "The motor helps only while the crank turns forward; backward help ends as soon as after a stop.",
        "s",
        backward_limit_s,
        EN.format("4.2.13.1 a"),
        (rides.BACKWARD, rides.HILLY_RIDE),
        BackwardHelp,
        cure=_no_direction,
    ),
    Rule(
        "cut-off distance",
        "After forward pedalling stops, help ends within this way, the fall of motor power included.",
        "m",
        distance_limit_m,
        EN.format("4.2.13.1 b, c"),
        (rides.SUDDEN_STOP, rides.FADING_LEGS, rides.HILLY_RIDE),
        CutoffDistance,
        cure=_distance_cure,
    ),
    Rule(
        "stop time",
        "The command is zero within the stop gap after the last edge, and one control period.",
        "ms late",
        lambda bike: CONTROL_PERIOD_US / 1000.0 + 1.0,
        "the stop gap as this project defines it; 60 / (pulses x release rpm) is common practice, no source",
        (rides.SUDDEN_STOP, rides.FADING_LEGS),
        StopLateness,
    ),
    Rule(
        "brake cut",
        "The command is zero one control period after the brake switch opens.",
        "ms",
        lambda bike: None if bike.brakes.switches == "none" else CONTROL_PERIOD_US / 1000.0,
        "B.C. Reg. 151/2002 s. 3 (disengage when the brake is applied); the time is this project's own",
        (rides.BRAKE_PULL, rides.HILLY_RIDE, rides.THROTTLE_STUCK),
        BrakeLateness,
    ),
    Rule(
        "nudge run-on",
        "A nudge of up to a sixth of a turn gives no help that outlasts it by more than this.",
        "s",
        lambda bike: NUDGE_RUN_ON_S,
        COMMON_PRACTICE,
        (rides.NUDGES,),
        RunOnAfterNudge,
    ),
    Rule(
        "rocking never engages",
        "Rocking the crank over an edge of the ring never engages the motor.",
        "times",
        lambda bike: 0.0,
        COMMON_PRACTICE,
        (rides.ROCKING,),
        Engagements,
        cure=_no_direction,
    ),
    Rule(
        "rocking ends help",
        "Rocking the crank over an edge instead of pedalling on ends help no later than a plain stop.",
        "s",
        backward_limit_s,
        EN.format("4.2.13.1 a, b"),
        (rides.ROCKING_ON,),
        RockingHelp,
        cure=_no_direction,
    ),
    Rule(
        "backward edges",
        "The command is zero when the crank has gone backward by the edges asked for.",
        "edges",
        _backward_edges_limit,
        EN.format("4.2.13.1 a"),
        (rides.BACKWARD, rides.HILLY_RIDE),
        BackwardEdges,
        cure=_no_direction,
    ),
    Rule(
        "steady help",
        "Pedalling from a third above the engage cadence on is helped without a lapse, up to the cut-off.",
        "lapses",
        lambda bike: 0.0,
        COMMON_PRACTICE,
        (rides.SPEED_SWEEP, rides.SLOW_AT_SPEED),
        Lapses,
        cure=_steady_cure,
    ),
    Rule(
        "no hunting at the thresholds",
        "Steady pedalling at, just under or just over a threshold engages once or twice, no more.",
        "engagements",
        lambda bike: 2.0,
        EN.format("4.2.13.1 e (no hunting)"),
        (rides.STEADY_CADENCE,),
        Engagements,
        cure=_hunting_cure,
    ),
)
