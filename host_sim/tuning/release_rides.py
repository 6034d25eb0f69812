"""The ride that releasing is measured on: slow, uneven pedalling that must go on, stops to be seen.

On a roller. The crank swings as the torque of the legs makes it swing: least at speed, most on a climb in
the lowest gear. The firmware's own reading of the crank (Crank and Pedalling, as they are) looks at the same
edges with every set of settings that is tried, so one ride tells for all of them how late a stop is seen and
how often help would lapse.
"""

from dataclasses import dataclass
from math import pi
from random import Random

from firmware.controller import Controller
from firmware.decide.pedalling import Pedalling
from firmware.records import Outputs
from firmware.sense.crank import Crank
from firmware.settings import Settings
from host_sim.bench.assemble import bench_for
from host_sim.bench.clock import US_PER_S
from host_sim.bench.course import Course, course_from
from host_sim.bench.script import CourseScript
from host_sim.bench.sim_board import StepWatch
from host_sim.bench.world import TURNING_RAD_PER_S, EdgeWatch, World
from host_sim.bikes.model import Bike
from host_sim.rules.case import Lines
from host_sim.rules.riding import rest

TURNS = 12
PEDAL_S = 6.0
SETTLE_S = 1.5  # The legs have come to their cadence by then.
STOP_S = 2.5
SLOW_ABOVE_ENGAGE = 1.1  # Tired legs on a climb, a little above the engage cadence.
BRISK_RPM = 80.0
HESITATE_S = 0.6  # Legs change their mind so often, by so much either way (common practice, no source).
HESITATE_SHARE = 0.25
LESS_EVEN = 1.5  # Legs less even than the formula of the climb.
_CLIMB_W = 100.0
_CLIMB_RIPPLE_MOST = 0.3
RIPPLE_MOST = 0.45


@dataclass(frozen=True, slots=True)
class ReleaseMeasures:
    """`run_on_s` mean, `longest_s` worst from standing crank to stop seen; `lapses_per_min` of pedalling."""

    run_on_s: float
    longest_s: float
    lapses_per_min: float


def climb_ripple(bike: Bike, cadence_rpm: float) -> float:
    """Return how far the crank's speed swings about its mean on a climb in the lowest gear, as a share.

    dv / v = P a / (2 x 2 pi n m v^2) for torque Tm (1 - a cos 2 theta): the work of half a swing on the
    mass, with n turns a second and P = 100 W of legs (derived; the torque profile is that of
    host_sim/plant/rider.py). Never below the ripple of the bike file, nor above 0.3, where the formula ends.
    """
    rider, bicycle = bike.rider, bike.bicycle
    turns_per_s = cadence_rpm / 60.0
    speed_m_per_s = bicycle.development_low_m * turns_per_s
    profile = 1.0 - rider.dead_centre_share
    swing = _CLIMB_W * profile / (4.0 * pi * turns_per_s * bicycle.mass_kg * speed_m_per_s**2)
    return min(max(swing, rider.cadence_ripple), _CLIMB_RIPPLE_MOST)


def release_course(bike: Bike, slowest_rpm: float, seed: int = 1) -> tuple[Course, list[tuple[float, float]]]:
    """Return the ride and for each turn of it the seconds at which the legs go and stop."""
    draw = Random(f"release {seed}")
    lines: Lines = [{"at_s": 0, "cadence_rpm": 0, "crank_free": True, "roller_km_per_h": 4}]
    turns: list[tuple[float, float]] = []
    at_s = rest(bike) + 1.0
    for number in range(TURNS):
        # The first half slow legs on a climb, then brisker and faster ones.
        share = max(2.0 * number / (TURNS - 1) - 1.0, 0.0)
        cadence = slowest_rpm + (BRISK_RPM - slowest_rpm) * share
        stop_s = round(at_s + PEDAL_S + draw.random(), 3)
        lines.append({"at_s": at_s, "cadence_rpm": cadence, "roller_km_per_h": 4.0 + 14.0 * share})
        lines += _hesitation(cadence, at_s, stop_s, draw)
        lines.append({"at_s": stop_s, "cadence_rpm": 0})
        turns.append((at_s, stop_s))
        at_s = round(stop_s + STOP_S, 3)
    return course_from("release", "Slow legs and stops", at_s, lines), turns


def _hesitation(cadence: float, at_s: float, stop_s: float, draw: Random) -> Lines:
    """Return cadences that wander about their mean until the stop."""
    times_s = [at_s + SETTLE_S + HESITATE_S * number for number in range(int((stop_s - at_s) / HESITATE_S))]
    return [
        {
            "at_s": round(time_s, 3),
            "over_s": 0.3,
            "cadence_rpm": cadence * (1.0 + draw.uniform(-1.0, 1.0) * HESITATE_SHARE),
        }
        for time_s in times_s
        if time_s + 0.3 < stop_s
    ]


class ReleaseWatch(StepWatch, EdgeWatch):
    """Lets crank readings with settings of their own look at the same edges; times stops, counts lapses."""

    def __init__(self, settings: list[Settings], turns: list[tuple[float, float]]) -> None:
        """Take the settings to try and the turns of the ride."""
        self._settings = settings
        self._turns = turns
        self.lapses = [0] * len(settings)
        self.run_ons_s: list[list[float]] = [[] for _ in settings]
        self._helped = [False] * len(settings)
        self._done = [True] * len(settings)
        self._turn = -1
        self._edges: list[tuple[int, int]] = []

    def begin(self, world: World, controller: Controller) -> None:
        """Take the world and the controller; everyone who looks starts with it."""
        self._world = world
        self._controller = controller
        now_us = world.ticks_us(world.now_us)
        self._cranks = [Crank(some, now_us) for some in self._settings]
        self._pedallings = [Pedalling(some) for some in self._settings]

    def edge(self, time_us: int, levels: int) -> None:
        """Keep an edge for the next step."""
        self._edges.append((time_us, levels))

    def look(self, outputs: Outputs) -> None:
        """Take one control period."""
        world = self._world
        now_s = world.now_us / US_PER_S
        now_us = world.ticks_us(world.now_us)
        if self._turn + 1 < len(self._turns) and now_s >= self._turns[self._turn + 1][0]:
            self._turn += 1
            self._done = [False] * len(self._settings)
        edges = [(levels, world.ticks_us(time_us)) for time_us, levels in self._edges]
        self._edges.clear()
        for index, (crank, pedalling) in enumerate(zip(self._cranks, self._pedallings, strict=True)):
            crank.begin_step()
            for levels, time_us in edges:
                crank.edge(levels, time_us)
            crank.settle(now_us)
            pedalling.step(crank, self._controller.wheel.speed_mm_per_s, now_us)
            if not self._done[index]:
                self._judge(index, not (pedalling.stopped or pedalling.slow), now_s)

    def _judge(self, index: int, helping: bool, now_s: float) -> None:
        """Count lapses while the legs go, and time the run-on once they stand."""
        begin_s, stop_s = self._turns[self._turn]
        if now_s < stop_s:
            if now_s >= begin_s + SETTLE_S and self._helped[index] and not helping:
                self.lapses[index] += 1
            self._helped[index] = helping
        elif self._world.rider.crank_rad_per_s <= TURNING_RAD_PER_S and not helping:
            # Before, the legs are on their way to rest.
            self.run_ons_s[index].append((self._world.now_us - self._world.last_forward_us) / US_PER_S)
            self._done[index] = True


def ride_release(
    bike: Bike, settings: list[Settings], slowest_rpm: float, seed: int = 1
) -> list[ReleaseMeasures]:
    """Ride once, with the crank as uneven as a climb makes it; return what each of `settings` makes of it."""
    ripple = min(LESS_EVEN * climb_ripple(bike, slowest_rpm), RIPPLE_MOST)
    rough = bike.model_copy(update={"rider": bike.rider.model_copy(update={"cadence_ripple": ripple})})
    course, turns = release_course(bike, slowest_rpm, seed)
    watch = ReleaseWatch(settings, turns)
    bench = bench_for(rough, seed)
    bench.watch(watch)
    bench.watch_edges(watch)
    bench.ride(CourseScript(course), course.seconds)
    minutes = sum(stop_s - begin_s - SETTLE_S for begin_s, stop_s in turns) / 60.0
    found = []
    for index in range(len(settings)):
        run_ons_s = watch.run_ons_s[index] + [STOP_S] * (len(turns) - len(watch.run_ons_s[index]))
        mean_s = sum(run_ons_s) / len(run_ons_s)
        found.append(ReleaseMeasures(mean_s, max(run_ons_s), watch.lapses[index] / minutes))
    return found
