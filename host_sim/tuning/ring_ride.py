"""One ring ridden once, its edges recorded and processed by the firmware with any settings.

The firmware's own Crank and Pedalling process the edges with every set of settings that is tried: when they
see a stop, and how often help lapses.
"""

from dataclasses import dataclass

from firmware.controller import Controller
from firmware.decide.pedalling import Pedalling
from firmware.records import Outputs
from firmware.sense.crank import Crank
from firmware.settings import Settings
from host_sim.bench.assemble import bench_for
from host_sim.bench.clock import US_PER_S
from host_sim.bench.script import CourseScript
from host_sim.bench.sim_board import StepWatch
from host_sim.bench.world import TURNING_RAD_PER_S, EdgeWatch, World
from host_sim.bikes.model import Bike
from host_sim.tuning.release_course import PARTS, SETTLE_S, STOP_S, Flaw, Turn, release_course, uneven


@dataclass(frozen=True, slots=True)
class RingMeasures:
    """One ring: `run_on_s` mean, `longest_s` worst from standing crank to detected stop; lapses a minute."""

    run_on_s: float
    longest_s: float
    lapses_per_min: float


class _Step:
    """One control period of a ride: the edges since the last one, and the true state."""

    __slots__ = ("counted", "edges", "going", "now_us", "run_on_s", "speed_mm_per_s", "standing", "turn")

    def __init__(self, now_us: int, edges: list[tuple[int, int]], speed_mm_per_s: int) -> None:
        """Store what the firmware reads; the caller, who knows the ride, fills in the rest."""
        self.now_us = now_us
        self.edges = edges
        self.speed_mm_per_s = speed_mm_per_s
        self.turn = -1
        self.going = False
        self.counted = False
        self.standing = False
        self.run_on_s = 0.0


class ReleaseWatch(StepWatch, EdgeWatch):
    """Records every control period of a ride."""

    def __init__(self, turns: list[Turn]) -> None:
        """Store the turns of the ride."""
        self._turns = turns
        self._turn = -1
        self._edges: list[tuple[int, int]] = []
        self.steps: list[_Step] = []
        self.begin_us = 0

    def begin(self, world: World, controller: Controller) -> None:
        """Store the world and the controller."""
        self._world = world
        self._controller = controller
        self.begin_us = world.ticks_us(world.now_us)

    def edge(self, time_us: int, levels: int) -> None:
        """Store an edge for the next step."""
        self._edges.append((time_us, levels))

    def look(self, outputs: Outputs) -> None:
        """Record one control period."""
        world = self._world
        now_s = world.now_us / US_PER_S
        if self._turn + 1 < len(self._turns) and now_s >= self._turns[self._turn + 1].begin_s:
            self._turn += 1
        edges = [(levels, world.ticks_us(time_us)) for time_us, levels in self._edges]
        self._edges.clear()
        step = _Step(world.ticks_us(world.now_us), edges, self._controller.wheel.speed_mm_per_s)
        step.turn = self._turn
        if self._turn >= 0:
            turn = self._turns[self._turn]
            step.going = now_s < turn.stop_s
            step.counted = now_s >= turn.begin_s + SETTLE_S
        # Before that the legs are still slowing down.
        step.standing = world.rider.crank_rad_per_s <= TURNING_RAD_PER_S
        step.run_on_s = (world.now_us - world.last_forward_us) / US_PER_S
        self.steps.append(step)


class RingRide:
    """A ride on one ring that can be evaluated for any settings."""

    def __init__(self, bike: Bike, slowest_rpm: float, seed: int, flaw: Flaw) -> None:
        """Ride it on the whole bench; the settings of `bike` don't change what the crank does."""
        course, self._turns = release_course(bike, slowest_rpm, seed, flaw)
        watch = ReleaseWatch(self._turns)
        bench = bench_for(uneven(bike, slowest_rpm, flaw), seed)
        bench.watch(watch)
        bench.watch_edges(watch)
        bench.ride(CourseScript(course), course.seconds)
        self._steps = watch.steps
        self._begin_us = watch.begin_us
        self._telling = _telling(watch.steps)

    def parts(self, settings: Settings, every_step: bool = False) -> list[RingMeasures]:
        """Return the measures of each part of the ride with `settings`.

        During pedalling, of the steps between two edges only the last can show a lapse, because the wait
        grows. The others are left out unless `every_step` is given; the result is the same.
        """
        reading = _Reading(settings, self._begin_us, len(self._turns))
        for step, telling in zip(self._steps, self._telling, strict=True):
            if every_step or telling or reading.waits_for_stop(step):
                reading.take(step)
        return [self._part(reading, part) for part in range(PARTS)]

    def _part(self, reading: "_Reading", part: int) -> RingMeasures:
        run_ons_s = reading.run_ons_s[part::PARTS]
        minutes = sum(turn.stop_s - turn.begin_s - SETTLE_S for turn in self._turns[part::PARTS]) / 60.0
        lapses = sum(reading.lapses[part::PARTS])
        return RingMeasures(sum(run_ons_s) / len(run_ons_s), max(run_ons_s), lapses / minutes)


def _telling(steps: list[_Step]) -> list[bool]:
    """Return which steps can change a result: those with edges, one before and one after, slower wheels."""
    edged = [bool(step.edges) for step in steps]
    telling = [
        any(edged[max(index - 1, 0) : index + 2])
        or step.speed_mm_per_s > steps[min(index + 1, len(steps) - 1)].speed_mm_per_s
        for index, step in enumerate(steps)
    ]
    for index in range(1, len(steps)):  # The first and the last of a turn, and of the counted part.
        step, before = steps[index], steps[index - 1]
        if (step.turn, step.going, step.counted) != (before.turn, before.going, before.counted):
            telling[index - 1] = telling[index] = True
    return telling


class _Reading:
    """The firmware's reading of the crank with given settings; times stops, counts lapses."""

    def __init__(self, settings: Settings, begin_us: int, turns: int) -> None:
        self._crank = Crank(settings, begin_us)
        self._pedalling = Pedalling(settings)
        self._done = [False] * turns
        self._helped = False
        self.lapses = [0] * turns
        self.run_ons_s = [STOP_S] * turns

    def waits_for_stop(self, step: _Step) -> bool:
        """Return whether the legs have stopped and this reading has not detected it yet."""
        return step.turn >= 0 and not step.going and not self._done[step.turn]

    def take(self, step: _Step) -> None:
        """Take one control period."""
        crank, pedalling = self._crank, self._pedalling
        crank.begin_step()
        for levels, time_us in step.edges:
            crank.edge(levels, time_us)
        crank.settle(step.now_us)
        pedalling.step(crank, step.speed_mm_per_s, step.now_us)
        if step.turn < 0 or self._done[step.turn]:
            return
        helping = not (pedalling.stopped or pedalling.slow)
        if step.going:
            self.lapses[step.turn] += step.counted and self._helped and not helping
            self._helped = helping
        elif step.standing and not helping:
            self.run_ons_s[step.turn] = step.run_on_s
            self._done[step.turn] = True
