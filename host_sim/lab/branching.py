"""A ride that is copied midway, so that many stops take one ride and a short continuation each.

The effect of a stop or a fault depends on the place between two magnets. Repeating the seconds before it
for each place would take most of the time; a copy of world, board and controller continues from there.
"""

from collections.abc import Callable, Sequence
from copy import copy, deepcopy
from math import pi
from random import Random
from typing import Any

from firmware.controller import Controller
from firmware.records import EdgeLog, Inputs, Outputs
from host_sim.bench.assemble import bench_for
from host_sim.bench.clock import US_PER_S
from host_sim.bench.course import course_from
from host_sim.bench.script import CourseScript
from host_sim.bench.sim_board import RideOver, StepWatch
from host_sim.bikes.model import Bike
from host_sim.lab.riding import Lines, Watching


class Branch:
    """A ride copied at the end of a control period. Read: `world`, `controller`, `samples`, `watches`."""

    def __init__(self, script: CourseScript, controller: Controller, watches: Sequence[StepWatch]) -> None:
        """Copy a ride; `watches` are copied too and stay active, all other watches are left out."""
        world = script._world
        memo: dict[int, Any] = {id(one): one for one in (controller.settings, script._course)}
        memo |= {id(one): _same_numbers(one) for one in (world._random, world._fault_random)}
        memo |= {id(one): one.copy() for one in _flat_lists(world.crank_log, world.wheel_log)}
        for watch in script._board._watches:
            memo[id(watch)] = None
        memo |= {id(watch): _own_copy(watch) for watch in watches}
        self.watches = [memo[id(watch)] for watch in watches]
        self._script = deepcopy(script, memo)
        self.controller: Controller = deepcopy(controller, memo)
        self._board = self._script._board
        self._board._watches = self.watches
        self.world = self._script._world
        self._inputs = Inputs()
        self._inputs.crank, self._inputs.wheel = self.world.crank_log, self.world.wheel_log
        for watch in self.watches:
            watch.begin(self.world, self.controller)

    @property
    def now_s(self) -> float:
        """The time since the start of the ride, in s."""
        return self.world.now_us / US_PER_S

    def stop_pedalling(self) -> None:
        """Stop pedalling now."""
        self.world.rider.target_rad_per_s = 0.0

    def move_selector(self, position: int) -> None:
        """Move the selector to a position (1 or more) now."""
        self.world.selector_v = self._script._levers.selector_v(1.0, position)

    def ride_on(self, until_s: float, over: Callable[[Outputs], bool] = lambda _: False) -> None:
        """Ride until `until_s`, or until `over` returns True for a step's outputs."""
        self._board._end_us = round(until_s * US_PER_S)
        self._board._over = False
        inputs = self._inputs
        try:
            while True:
                now_us = self._board.read(inputs)
                outputs = self.controller.step(inputs, now_us)
                self._board.write(outputs)
                if over(outputs):
                    return
        except RideOver:
            return

    def copy(self, watched: bool = True) -> "Branch":
        """Return an independent copy, with copies of the watches or without any."""
        twin = Branch(self._script, self.controller, self.watches if watched else ())
        for name in Inputs.__slots__:
            if name not in ("crank", "wheel"):
                # The value that a stuck wire keeps giving.
                setattr(twin._inputs, name, getattr(self._inputs, name))
        return twin


def _same_numbers(random: Random) -> Random:
    """Return a separate generator that gives the same numbers from here on; faster than a deep copy."""
    twin = Random()
    twin.setstate(random.getstate())
    return twin


def _flat_lists(*logs: EdgeLog) -> list[list[int]]:
    """Return the lists of logs: they hold integers only, so that a shallow copy is enough."""
    values = [getattr(log, name) for log in logs for name in EdgeLog.__slots__]
    return [value for value in values if isinstance(value, list)]


def _own_copy(watch: StepWatch) -> StepWatch:
    """Return a copy of a watch with its own lists, so that the two don't share what they record."""
    twin = copy(watch)
    for name, value in vars(watch).items():
        if isinstance(value, list):
            setattr(twin, name, value.copy())
    return twin


class _Fork(Watching):
    """Copies the ride at the first step from a time on."""

    def __init__(self, script: CourseScript, at_s: float, watches: Sequence[StepWatch]) -> None:
        self._script = script
        self._at_us = round(at_s * US_PER_S)
        self._watches = watches
        self.branch: Branch | None = None

    def look(self, outputs: Outputs) -> None:
        if self.branch is None and self._world.now_us >= self._at_us:
            self.branch = Branch(self._script, self._controller, self._watches)


def ride_to(
    bike: Bike,
    lines: Lines,
    at_s: float,
    watches: Sequence[StepWatch] = (),
    replace: Sequence[StepWatch] = (),
    seed: int = 1,
    crank_deg: float = 0.0,
) -> Branch:
    """Ride a course to a time and return the ride at that moment, with `watches` still active.

    `crank_deg` is the crank's first angle. `replace` are watches that change the controller when it is
    switched on; they are not in the copy.
    """
    bench = bench_for(bike, seed, crank_rad=crank_deg * pi / 180.0)
    script = CourseScript(course_from("lesson", "lesson", at_s + 60.0, lines))
    fork = _Fork(script, at_s, watches)
    for watch in (*replace, *watches, fork):
        bench.watch(watch)
    bench.ride(script, at_s + 0.02)
    assert fork.branch is not None
    return fork.branch
