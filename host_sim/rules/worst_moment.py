"""Finds the moment of a rule's worst case in its ride, so that the picture can enlarge that second."""

from firmware.controller import Controller
from firmware.records import Outputs
from host_sim.bench.clock import US_PER_S
from host_sim.bench.sim_board import StepWatch
from host_sim.bench.trace import EdgeWindow
from host_sim.bench.world import World
from host_sim.rules.case import Case
from host_sim.rules.probe import Probe, watched_by
from host_sim.rules.rule import Rule


class _LastRise(StepWatch):
    """When a probe's number rose last. Must watch after the probe."""

    def __init__(self, probe: Probe) -> None:
        self._probe = probe
        self._measured: float | None = None
        self.at_us: int | None = None

    def begin(self, world: World, controller: Controller) -> None:
        self._world = world

    def look(self, outputs: Outputs) -> None:
        if self._probe.measured != self._measured:
            self._measured = self._probe.measured
            self.at_us = self._world.now_us


def worst_moment_us(case: Case, rule: Rule) -> int | None:
    """Ride the case; return the time of the worst measurement, or None if it came only at the end."""
    bench = case.bench()
    probe = watched_by(bench, rule.probe(case))
    rise = _LastRise(probe)
    bench.watch(rise)
    bench.ride(case.script(), case.course.seconds)
    before = probe.measured
    probe.end()
    return rise.at_us if probe.measured == before else None


class MomentWindow(EdgeWindow):
    """Keeps the crank edges of the second around a given moment."""

    def __init__(self, moment_us: int, levels: int) -> None:
        """Centre the window on `moment_us` of the ride."""
        super().__init__(-1, levels)
        self._moment_us = moment_us

    def look(self, outputs: Outputs) -> None:
        """Fix the window when the moment has come."""
        if self.centre_us is None and self._world.now_us >= self._moment_us:
            self.fix(self._moment_us)


def whole_second(moment_us: int, seconds: float) -> int:
    """Return the moment, moved so that half a second of the ride is on either side."""
    half_us = US_PER_S // 2
    return max(min(moment_us, round(seconds * US_PER_S) - half_us), half_us)
