"""A probe measures one number on one ride. The `*_probes` files have one for every rule.

All are compiled with the bench (`host_sim/compiled/build.py`): `look` runs 200 times per second of
every ride.
"""

from typing import ClassVar

from firmware.controller import Controller
from firmware.records import Outputs
from firmware.settings import Settings
from host_sim.bench.ride import Bench
from host_sim.bench.sim_board import StepWatch
from host_sim.bench.world import World
from host_sim.rules.case import Case


class Probe(StepWatch):
    """Measures one number on one ride. A subclass looks at every control period and keeps the worst.

    `measured` is that number, in the unit of its rule, or None while the ride has not tested the rule.
    `watches_edges` is True in a subclass with its own `edge` method: only such probes receive edges.
    """

    watches_edges: ClassVar[bool] = False

    def __init__(self, case: Case) -> None:
        """Prepare for one ride."""
        self.case = case
        self.settings: Settings = case.settings
        self.measured: float | None = None

    def begin(self, world: World, controller: Controller) -> None:
        """Take the world and a controller that has just been switched on."""
        self.world = world
        self.controller = controller

    def look(self, outputs: Outputs) -> None:
        """Look at one control period."""

    def edge(self, time_us: int, levels: int) -> None:
        """See an edge of the crank, as an EdgeWatch does."""

    def end(self) -> None:
        """Finish the measurement at the end of the ride."""

    def saw(self, value: float) -> None:
        """Keep the larger of what was measured so far and `value`."""
        if self.measured is None or value > self.measured:
            self.measured = value


def watched_by(bench: Bench, probe: Probe) -> Probe:
    """Let `probe` watch the ride to come on `bench`, and return it."""
    bench.watch(probe)
    if probe.watches_edges:
        bench.watch_edges(probe)
    return probe
