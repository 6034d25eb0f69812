"""What the statements assume is met on rides, each premise at least once, and what they claim holds there.

A premise that nothing meets would be shown by the solver whatever it claims. Here a real controller rides; in
each step its state, with the edges taken, is put into the formulas, which are worked out on those numbers.
"""

from collections.abc import Callable
from typing import Any

import pytest

from firmware.controller import Controller
from host_sim.proof.whole.edges import begun
from host_sim.proof.whole.induction import Run, longest_gap_us
from host_sim.proof.whole.jobs import BACK_US
from host_sim.proof.whole.numbers_of import compiled
from host_sim.proof.whole.ranges import INPUTS, RANGES, STAMP
from host_sim.proof.whole.snapshot import field_of, give, numbers_of, offset_of
from host_sim.proof.whole.statement import BACK, FORWARD
from host_sim.proof.whole.statements_step import STEP_STATEMENTS
from host_sim.testing import Rig
from host_sim.testing.small_settings import settings_with

pytestmark = pytest.mark.long

TORQUE = {"motor_kind": 1, "shunt_fitted": 1, "throttle_fitted": 0}
SPEED = {"motor_kind": 2, "shunt_fitted": 1, "throttle_fitted": 1, "throttle_unpedalled": 2}


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


class Premises:
    """Which premises of one kind of sensor were met: `met`, of `all`; a claim that fails stops the test."""

    def __init__(self, kind: int, way: str) -> None:
        """Build the formulas, once for all rides."""
        gaps_us = BACK_US if way == BACK else (0, longest_gap_us(kind))
        self.way = way
        self.run = Run(kind, gaps_us, contracts=begun())
        self.said = [
            (f"{statement.name}: {what}", when, then)
            for statement in STEP_STATEMENTS
            if statement.way == way and kind in statement.kinds
            for what, when, then in statement.says(self.run)
        ]
        self.work_out = compiled([*self.run.facts, *(one for _, *pair in self.said for one in pair)])
        self.met: set[str] = set()
        self.looked = 0

    def rig(self, **values: int) -> Rig:
        """Return a rig whose controller is watched."""
        kind = self.run.situation.kind
        return Rig(settings_with(sensor_kind=kind, **values), number=int, build=self._build)

    def _build(self, settings: Any, now_us: int) -> Controller:
        controller = Watched(settings, now_us)
        controller.look = self.look
        return controller

    def look(self, controller: Controller, inputs: Any, now_us: int) -> None:
        """Put a state, readings and a time into the formulas; all that is assumed must hold."""
        gap_us = offset_of(int(now_us), int(controller._last_us))
        if (gap_us < 0) != (self.way == BACK):
            return
        found = self.work_out(self._numbers(controller, inputs, gap_us))
        facts = len(self.run.facts)
        assert all(found[:facts])
        for place, (what, _, _) in enumerate(self.said):
            when, then = found[facts + 2 * place : facts + 2 * place + 2]
            if when:
                self.met.add(what)
                assert then, what
        self.looked += 1

    def _numbers(self, controller: Controller, inputs: Any, gap_us: int) -> dict[str, int | bool]:
        situation = self.run.situation
        last_us = int(controller._last_us)
        numbers = numbers_of(situation, controller)
        numbers.update(controller.settings.as_dict())
        for name, span in INPUTS.items():
            value = field_of(inputs, name)
            value = offset_of(int(value), last_us) if span == STAMP else value
            give(numbers, situation.variables[f"inputs.{name}"], value)
        for number, path in enumerate(("crank.ground_gained", "crank.pitch_measured", "wheel.pulsed")):
            part, field = path.split(".")
            numbers[f"{part.title()}.begin_step.{number // 2}.{field}"] = field_of(controller, path)
        stamps = [
            offset_of(int(field_of(controller, path)), last_us) for path in RANGES if RANGES[path] == STAMP
        ]
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


@pytest.mark.parametrize("kind", [0, 1, 2])
def test_each_premise_of_a_step_is_met_on_a_ride_and_its_claim_holds_there(kind: int):
    premises = Premises(kind, FORWARD)
    for course, values in (
        (pedal, TORQUE),
        (lose, {**TORQUE, "wheel_pulses_per_rev": 12}),
        (pedal, SPEED),
        (throttle, SPEED),
    ):
        course(premises.rig(**values))
    assert {what for what, _, _ in premises.said} - premises.met == set()
    assert premises.looked > 5_000


@pytest.mark.parametrize("kind", [0, 1, 2])
def test_a_ride_whose_clock_goes_back_meets_what_is_assumed_of_it(kind: int):
    premises = Premises(kind, BACK)
    rig = premises.rig(**TORQUE)
    rig.ready()
    rig.run(3_000, rpm=70, wheel_mm_per_s=4_000)
    rig.now_us -= 40_000
    rig.step(0)
    assert {what for what, _, _ in premises.said} == premises.met
    assert premises.looked == 1
