"""One ride: takes a bike, a script and a seed; gives the world after the ride and its meter."""

from collections.abc import Callable
from random import Random

from firmware.controller import Controller
from firmware.loop import Heap, LoopCounters, run
from firmware.records import Inputs
from firmware.settings import Settings
from firmware.ticks import TICKS_MAX_US
from host_sim.bench.clock import US_PER_S, Agenda
from host_sim.bench.meter import Meter
from host_sim.bench.script import Script
from host_sim.bench.sim_board import Levers, Restart, RideOver, SimBoard, StepWatch
from host_sim.bench.world import EdgeWatch, World


class Bench:
    """A bicycle on the bench. Read after `ride`: `world`, `meter`, `counters`, `restarts`."""

    def __init__(
        self,
        world: World,
        levers: Levers,
        settings: Settings,
        seed: int,
        settings_after: Settings | None = None,
        build: Callable[[Settings, int], Controller] | None = None,
    ) -> None:
        """Put a world on the bench; `seed` and the world's own seed decide all noise.

        `settings_after` are the settings that the board loads after a loss of supply.
        `build` makes the controller from settings and the time; None makes the firmware's own.
        """
        self.world = world
        self.meter = Meter()
        self.counters = LoopCounters()
        self.restarts = 0
        self._levers = levers
        self._settings = settings
        self._settings_after = settings if settings_after is None else settings_after
        self._seed = seed
        self._build = build
        self._watches: list[StepWatch] = [self.meter]

    def watch(self, watch: StepWatch) -> None:
        """Call `watch` after every control period."""
        self._watches.append(watch)

    def watch_edges(self, watch: EdgeWatch) -> None:
        """Call `watch` for every crank edge."""
        self.world.watch_edges(watch)

    def ride(self, script: Script, seconds: float) -> None:
        """Ride `script` for `seconds` of virtual time."""
        agenda = Agenda()
        board = SimBoard(self.world, agenda, self._levers, round(seconds * US_PER_S), self._seed)
        for watch in self._watches:
            board.watch_steps(watch)
        script.begin(self.world, board, self._levers, agenda)
        try:
            while True:
                board.wait_for_power()
                controller = self._built(self.world.ticks_us(self.world.now_us))
                board.start(controller)
                try:
                    run(board, controller, Inputs(), self.counters, Heap())
                    return  # No link ends it here; but without an end the C compiler takes it for rare.
                except Restart:
                    self.restarts += 1
                    self._settings = self._settings_after
        except RideOver:
            return

    def _built(self, now_us: int) -> Controller:
        if self._build is None:
            return Controller(self._settings, now_us)
        return self._build(self._settings, now_us)


def ticks_at_start_us(seed: int) -> int:
    """Return a random start for the microcontroller's clock, so that rides cross its wrap."""
    return Random(seed).randrange(TICKS_MAX_US + 1)
