"""Rides of a real controller that meet what the statements about steps assume.

In each step the state of the controller, with the edges taken, is put into the formulas of the step, which
are worked out on those numbers: all that is assumed must hold, and each statement that speaks there.
"""

from collections.abc import Callable
from typing import Any

from firmware.controller import Controller
from host_sim.proof.inside import Inside
from host_sim.proof.whole.edges import begun
from host_sim.proof.whole.induction import Run, longest_gap_us
from host_sim.proof.whole.numbers_of import compiled
from host_sim.proof.whole.ranges import INPUTS, RANGES, STAMP
from host_sim.proof.whole.situation import Situation
from host_sim.proof.whole.snapshot import field_of, give, numbers_of, offset_of
from host_sim.proof.whole.statement import BACK, BACK_US, FORWARD, Statement
from host_sim.rig.rig import Rig
from host_sim.rig.small_settings import settings_with

TORQUE = {"motor_kind": 1, "shunt_fitted": 1, "throttle_fitted": 0}
SPEED = {"motor_kind": 2, "shunt_fitted": 1, "throttle_fitted": 1, "throttle_unpedalled": 2}
Course = Callable[[Rig], None]


class Watched(Controller):
    """A controller that shows itself and its inputs to `look` in each step, once it has taken the edges."""

    __slots__ = ("look",)
    look: Callable[[Controller, Any, int], None]

    def _take_edges(self, inputs: Any, now_us: int) -> None:
        self.crank.begin_step()
        while inputs.crank.take():
            self.crank.edge(inputs.crank.levels, inputs.crank.time_us)
            self.guard.crank_edge(inputs.crank.levels, inputs.crank.time_us)
        self.wheel.begin_step()
        while inputs.wheel.take():
            self.wheel.edge(inputs.wheel.levels, inputs.wheel.time_us)
            self.guard.wheel_edge(inputs.wheel.levels, inputs.wheel.time_us)
        self.look(self, inputs, now_us)
        self.crank.settle(now_us)
        self.wheel.settle(now_us)


class Met(Exception):
    """Every premise was met: the ride may end."""


class Premises:
    """Which premises of one kind of sensor were met: `met`, of those `said`; `broken`: what failed there.

    `looked`: in how many steps. With `quick` a ride ends with Met as soon as all are met.
    """

    def __init__(self, statements: tuple[Statement, ...], kind: int, way: str, quick: bool = False) -> None:
        """Build the formulas, once for all rides."""
        gaps_us = BACK_US if way == BACK else (0, longest_gap_us(kind))
        self.kind = kind
        self.way = way
        self.quick = quick
        self.run = Run(kind, gaps_us, contracts=begun())
        self.said = [
            (f"{statement.name}: {what}", when, then)
            for statement in statements
            if statement.way == way and kind in statement.kinds and not statement.alone
            for what, when, then in statement.says(self.run)
        ]
        self.work_out = compiled([*self.run.facts, *(one for _, *pair in self.said for one in pair)])
        self.met: set[str] = set()
        self.broken: set[str] = set()
        self.looked = 0

    @property
    def unmet(self) -> list[str]:
        """Return the sentences whose premise no ride has met."""
        return [what for what, _, _ in self.said if what not in self.met]

    def ride(self, courses: tuple[tuple[Course, dict[str, int]], ...]) -> None:
        """Ride courses, each on a bicycle of its settings."""
        for course, values in courses:
            try:
                course(Rig(settings_with(sensor_kind=self.kind, **values), number=int, build=self._build))
            except Met:
                return

    def _build(self, settings: Any, now_us: int) -> Controller:
        controller = Watched(settings, now_us)
        controller.look = self.look
        return controller

    def look(self, controller: Controller, inputs: Any, now_us: int) -> None:
        """Put a state, readings and a time into the formulas."""
        gap_us = offset_of(int(now_us), int(Inside(controller).last_us))
        if (gap_us < 0) != (self.way == BACK):
            return
        found = self.work_out(numbers_in_step(self.run.situation, controller, inputs, gap_us))
        facts = len(self.run.facts)
        self.looked += 1
        if not all(found[:facts]):
            self.broken.add("what is assumed of every step")
            return
        for place, (what, _, _) in enumerate(self.said):
            when, then = found[facts + 2 * place : facts + 2 * place + 2]
            if when:
                self.met.add(what)
                if not then:
                    self.broken.add(what)
        if self.quick and len(self.met) == len(self.said):
            raise Met


def numbers_in_step(
    situation: Situation, controller: Controller, inputs: Any, gap_us: int
) -> dict[str, int | bool]:
    """Return the number of every variable of a step: a controller's state with the edges taken, and readings.

    `gap_us`: the time since the last step. ValueError if a number is out of its range.
    """
    last_us = int(Inside(controller).last_us)
    numbers = numbers_of(situation, controller)
    numbers.update(controller.settings.as_dict())
    for name, span in INPUTS.items():
        value = field_of(inputs, name)
        value = offset_of(int(value), last_us) if span == STAMP else value
        give(numbers, situation.variables[f"inputs.{name}"], value)
    for number, path in enumerate(("crank.ground_gained", "crank.pitch_measured", "wheel.pulsed")):
        part, field = path.split(".")
        numbers[f"{part.title()}.begin_step.{number // 2}.{field}"] = field_of(controller, path)
    stamps = [offset_of(int(field_of(controller, path)), last_us) for path in RANGES if RANGES[path] == STAMP]
    return {**numbers, "now": gap_us, "newest": max(0, *stamps)}


def pedal(rig: Rig) -> None:
    """Ride off, brake, go on, pedal backward, stop, come late, with old inputs, and with a broken wire."""
    rig.ready()
    rig.run(3_000, rpm=70, wheel_mm_per_s=4_000)
    rig.run(100, brake_pulled=True)
    rig.run(1_500, brake_pulled=False)
    rig.step(60_000)
    rig.run(1_500)
    rig.run(200, rpm=-70)
    rig.run(1_500, rpm=70)
    rig.run(1_000, rpm=0)
    rig.run(2_000, rpm=70)
    for _ in range(15):  # Nobody reads the inputs any more.
        rig.now_us = (rig.now_us + 5_000) % 2**30
        rig.controller.step(rig.inputs, rig.now_us)
    rig.run(1_000, wheel_mm_per_s=int(rig.settings.cutoff_speed_mm_per_s) + 500)
    rig.run(500, selector_mv=0, battery_mv=1_000)


def lose(rig: Rig) -> None:
    """Lose the wheel sensor at speed, and later the current."""
    rig.ready()
    rig.run(3_000, rpm=70, wheel_mm_per_s=5_000)
    rig.run(500, wheel_mm_per_s=0)
    rig.run(3_000, wheel_mm_per_s=3_000)
    rig.run(6_000, draws_current=False, current_ma=0)
    rig.run(100, clear_requested=True)
    rig.run(1_000, clear_requested=False)


def draw_nothing(rig: Rig) -> None:
    """Ride off with a motor that draws no current: the second suspicion is a fault."""
    rig.ready()
    rig.run(3_000, rpm=70, wheel_mm_per_s=4_000, draws_current=False, current_ma=0)


def throttle(rig: Rig) -> None:
    """Open the throttle before it was at rest, then after it; let it go."""
    rig.full_throttle()
    rig.run(500)
    rig.release_throttle()
    rig.ready()
    rig.full_throttle()
    rig.run(2_000, wheel_mm_per_s=1_000)
    rig.release_throttle()
    rig.run(300)


def turn(rig: Rig) -> None:
    """Turn the selector to both ends, and break its wire."""
    rig.run(50, selector_mv=int(rig.settings.selector_low_mv))
    rig.run(50, selector_mv=int(rig.settings.selector_high_mv))
    rig.run(50, selector_mv=0)


def draw_less(rig: Rig) -> None:
    """Ride off with a motor that draws four fifths of what the model expects: the loop asks for more."""
    rig.ready()
    rig.run(500, rpm=70, wheel_mm_per_s=4_000, draws_current=False)
    for _ in range(1_200):
        model = rig.controller.motor_model
        above_mv = max(rig.outputs.command_mv - int(rig.settings.command_start_mv), 0)
        power_mw = (model.back_emf_mv + model.drop_mv) * model.current_ma // 1_000
        rig.current_ma = power_mw * 800 // rig.battery_mv if above_mv > 0 else 0
        rig.step()


def go_back(rig: Rig) -> None:
    """Ride off, then let the clock go back by 40 ms."""
    rig.ready()
    rig.run(3_000, rpm=70, wheel_mm_per_s=4_000)
    rig.now_us -= 40_000
    rig.step(0)


COURSES: dict[str, tuple[tuple[Course, dict[str, int]], ...]] = {
    FORWARD: (
        (pedal, TORQUE),
        (lose, {**TORQUE, "wheel_pulses_per_rev": 12}),
        (draw_nothing, TORQUE),
        (throttle, SPEED),
        (turn, {"selector_positions": 1}),
        (pedal, SPEED),
        (draw_less, TORQUE),
    ),
    BACK: ((go_back, TORQUE),),
}
