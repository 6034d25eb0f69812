"""The ride that engaging is measured on: real starts, and movements that are not pedalling.

All on a free crank while the bicycle is wheeled along at walking pace, so one ride shows for every engage
cadence and every number of edges when they would have engaged. Real starts: from any place of the ring,
gentle to brisk. Other movements: nudges up to a sixth of a turn, rocking by up to half a pitch, and shaking
(common practice, no source).
"""

from bisect import bisect_left
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from random import Random

from firmware.controller import Controller
from firmware.decide.engagement import ASSISTING
from firmware.records import Outputs
from host_sim.bench.assemble import bench_for
from host_sim.bench.clock import CONTROL_PERIOD_S, US_PER_S
from host_sim.bench.course import Course, course_from
from host_sim.bench.script import CourseScript
from host_sim.bench.sim_board import StepWatch
from host_sim.bench.world import World
from host_sim.bikes.model import Bike
from host_sim.rules.case import Lines
from host_sim.rules.riding import on_roller
from host_sim.tuning.ride_start import draws_of, longest_pitch_s, rest_s

# With 12 starts drawn at random the engage cadence came to 12, 15, 18 and 22 rpm over five seeds.
STARTS = 40
NUDGES = 64
ROCKINGS = 16
SHAKES = 8
START_S = 3.0  # A start that has not engaged by then counts as this late.
START_RPM = (35.0, 75.0)
GATHER_S = (0.3, 1.8)  # How long the legs take to reach their cadence.
WALKING_KM_PER_H = 5.0
NUDGE_RPM = (15.0, 60.0)
NUDGE_TURNS = (0.05, 0.16)
SHAKE_PERIOD_S = 0.1  # 10 Hz.
_PLASTIC = 1.32471795724474602596  # The real root of x^3 = x + 1.


@dataclass(frozen=True, slots=True)
class Span:
    """One movement of the crank from `begin_s` to `end_s`; `meant` if the rider is starting to pedal."""

    begin_s: float
    end_s: float
    meant: bool


@dataclass(frozen=True, slots=True)
class EngageMeasures:
    """`delay_s` mean and `late_s` worst from moving to engaging; `false_share` of other movements engaged."""

    delay_s: float
    late_s: float
    false_share: float


def engage_course(bike: Bike, seed: int = 1) -> tuple[Course, list[Span]]:
    """Return the ride and its movements, drawn with `seed`; they don't depend on the settings of `bike`."""
    draw = Random(f"engage {seed}")
    # A crank counts as standing after a pitch at the lowest release cadence plus 0.5 s.
    pause_s = 0.6 + longest_pitch_s(bike)
    lines: Lines = [on_roller(WALKING_KM_PER_H)]
    spans: list[Span] = []
    at_s = rest_s(bike) + pause_s
    kinds = ["start"] * STARTS + ["nudge"] * NUDGES + ["rock"] * ROCKINGS + ["shake"] * SHAKES
    draws = {kind: _spread_draws(kinds.count(kind), draw) for kind in _MOVEMENTS}
    draw.shuffle(kinds)
    for kind in kinds:
        movement = _MOVEMENTS[kind](bike, next(draws[kind]), at_s)
        lines += movement
        end_s = movement[-1]["at_s"]
        spans.append(Span(at_s, end_s + (0.0 if kind == "start" else 0.5), kind == "start"))
        at_s = round(end_s + pause_s + draw.random() * 0.2, 4)
    return course_from("engage", "Starts, nudges, rocking and shaking", at_s, lines), spans


def _spread_draws(count: int, draw: Random) -> Iterator[tuple[float, float]]:
    """Yield `count` pairs from 0 to 1 that fill the square evenly, so few starts represent many.

    An additive recurrence with the plastic number (M. Roberts, "The unreasonable effectiveness of
    quasirandom sequences", 2018), shifted as a whole by the draw. Random points would cluster.
    """
    first = (draw.random(), draw.random())
    for number in range(count):
        yield (first[0] + number / _PLASTIC) % 1.0, (first[1] + number / _PLASTIC**2) % 1.0


def _between(ends: tuple[float, float], share: float) -> float:
    return ends[0] + (ends[1] - ends[0]) * share


def _start(bike: Bike, drawn: tuple[float, float], at_s: float) -> Lines:
    cadence = _between(START_RPM, drawn[0])
    return [
        {"at_s": at_s, "over_s": _between(GATHER_S, drawn[1]), "cadence_rpm": cadence},
        {"at_s": at_s + START_S, "cadence_rpm": 0},
    ]


def _nudge(bike: Bike, drawn: tuple[float, float], at_s: float) -> Lines:
    cadence = _between(NUDGE_RPM, drawn[0])
    return [
        {"at_s": at_s, "cadence_rpm": cadence},
        {"at_s": at_s + _between(NUDGE_TURNS, drawn[1]) * 60.0 / cadence, "cadence_rpm": 0},
    ]


def _rock(bike: Bike, drawn: tuple[float, float], at_s: float) -> Lines:
    half_s = _between((0.2, 0.5), drawn[0])
    cadence = _between((0.1, 0.5), drawn[1]) * 60.0 / bike.pedal_sensor.pulses_per_rev / half_s
    return _to_and_fro(cadence, half_s, 8, at_s)


def _shake(bike: Bike, drawn: tuple[float, float], at_s: float) -> Lines:
    return _to_and_fro(_between((5.0, 14.0), drawn[0]), SHAKE_PERIOD_S / 2.0, 20, at_s)


def _to_and_fro(cadence: float, half_s: float, times: int, at_s: float) -> Lines:
    lines: Lines = []
    for number in range(times):
        sign = 1.0 if number % 2 else -1.0
        lines.append({"at_s": round(at_s + number * half_s, 5), "cadence_rpm": sign * cadence})
    lines.append({"at_s": round(at_s + times * half_s, 5), "cadence_rpm": 0})
    return lines


_MOVEMENTS = {"start": _start, "nudge": _nudge, "rock": _rock, "shake": _shake}


class EngageWatch(StepWatch):
    """Records for each step what engaging depends on: time, edges in a row, cadence. Read after the ride."""

    def __init__(self) -> None:
        """Start with empty lists."""
        self.times_s: list[float] = []
        self.runs: list[int] = []
        self.cadences_rpm: list[int] = []
        self.engaged_s: list[float] = []
        self._assisting = False

    def begin(self, world: World, controller: Controller) -> None:
        """Store the world and the controller."""
        self._world = world
        self._controller = controller

    def look(self, outputs: Outputs) -> None:
        """Record steps in which the crank may be pedalled, and moments at which the firmware engaged."""
        controller = self._controller
        now_s = self._world.now_us / US_PER_S
        assisting = controller.engagement.state == ASSISTING
        if assisting and not self._assisting:
            self.engaged_s.append(now_s)
        self._assisting = assisting
        if not controller.pedalling.stopped and controller.crank.forward_run > 1:
            self.times_s.append(now_s)
            self.runs.append(controller.crank.forward_run)
            self.cadences_rpm.append(controller.pedalling.cadence_rpm)


class EngageRide:
    """One ride that can be evaluated for any thresholds."""

    def __init__(self, bike: Bike, seed: int = 1) -> None:
        """Ride it on the whole bench with the bike's settings."""
        course, self.spans = engage_course(bike, seed)
        self.watch = EngageWatch()
        bench = bench_for(bike, seed)
        bench.watch(self.watch)
        bench.ride(CourseScript(course), course.seconds)

    def measures(self, engage_edges: int, engage_rpm: int) -> EngageMeasures:
        """Return the measures of the ride with these thresholds."""
        return self._measures(lambda span: self._would_engage_s(span, engage_edges, engage_rpm))

    def as_ridden(self) -> EngageMeasures:
        """Return the measures of what the firmware itself did."""
        return self._measures(lambda span: _first_within(self.watch.engaged_s, span))

    def _measures(self, engaged_s: Callable[[Span], float | None]) -> EngageMeasures:
        delays_s: list[float] = []
        wrong = 0
        for span in self.spans:
            at_s = engaged_s(span)
            if span.meant:
                delays_s.append(START_S if at_s is None else at_s - span.begin_s)
            elif at_s is not None:
                wrong += 1
        unmeant = len(self.spans) - len(delays_s)
        return EngageMeasures(sum(delays_s) / len(delays_s), max(delays_s), wrong / unmeant)

    def _would_engage_s(self, span: Span, engage_edges: int, engage_rpm: int) -> float | None:
        watch = self.watch
        index = bisect_left(watch.times_s, span.begin_s)
        while index < len(watch.times_s) and watch.times_s[index] <= span.end_s:
            if watch.runs[index] >= engage_edges and watch.cadences_rpm[index] >= engage_rpm:
                return watch.times_s[index]
            index += 1
        return None


class EngageRides:
    """DRAWS rides, because the best engage cadence of a single draw varies by a third. Read: `rides`."""

    def __init__(self, bike: Bike, seed: int = 1) -> None:
        """Ride them all."""
        self.rides = [EngageRide(bike, one) for one in draws_of(seed)]

    def measures(self, engage_edges: int, engage_rpm: int) -> EngageMeasures:
        """Return the measures of all of them with these thresholds."""
        return pooled([ride.measures(engage_edges, engage_rpm) for ride in self.rides])


def pooled(each: list[EngageMeasures]) -> EngageMeasures:
    """Combine the measures of rides with equal numbers of movements into those of one ride."""
    count = len(each)
    return EngageMeasures(
        sum(one.delay_s for one in each) / count,
        max(one.late_s for one in each),
        sum(one.false_share for one in each) / count,
    )


def _first_within(times_s: list[float], span: Span) -> float | None:
    index = bisect_left(times_s, span.begin_s)
    latest_s = span.end_s + CONTROL_PERIOD_S
    return times_s[index] if index < len(times_s) and times_s[index] <= latest_s else None
