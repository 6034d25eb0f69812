"""Looks for numbers that break a statement in rides of a real controller: what the solver finds hard.

In each step of a ride the controller's state, with the edges taken, and the readings become the numbers that
a statement is tried on.
"""

from typing import Any

from firmware.controller import Controller
from firmware.settings import Settings
from host_sim.proof.inside import Inside
from host_sim.proof.whole.ranges import RANGES
from host_sim.proof.whole.replaying import Values, broken
from host_sim.proof.whole.rides import COURSES, Course, Watched, numbers_in_step
from host_sim.proof.whole.situation import Situation
from host_sim.proof.whole.snapshot import offset_of
from host_sim.proof.whole.statement import BACK, Statement
from host_sim.rig.rig import Rig

TIMES = ("now", "newest")


class Broken(Exception):
    """A step of a ride breaks a statement, from `values` on; `what`: the sentence."""

    def __init__(self, values: Values, what: str) -> None:
        """Keep the parts."""
        super().__init__(what)
        self.values = values
        self.what = what


def ridden(
    statement: Statement, kind: int, settings: dict[str, int], sentences: list[str], situation: Situation
) -> Broken | None:
    """Return the first step of a few rides that breaks one of the sentences of a statement, or None.

    `settings` are those that differ from the defaults; `situation` has the names of the variables.
    """
    if statement.alone:
        return None

    def look(controller: Controller, inputs: Any, now_us: int) -> None:
        gap_us = offset_of(int(now_us), int(Inside(controller).last_us))
        if (gap_us < 0) != (statement.way == BACK):
            return
        numbers = numbers_in_step(situation, controller, inputs, gap_us)
        values = {name: int(value) for name, value in numbers.items() if _is_variable(name)}
        for what in broken(statement.name, kind, settings, values):
            if what in sentences:
                raise Broken(values, what)

    def build(chosen: Settings, now_us: int) -> Controller:
        controller = Watched(chosen, now_us)
        controller.look = look
        return controller

    for course in _courses(statement.way):
        try:
            course(Rig(Settings({**settings, "sensor_kind": kind}), number=int, build=build))
        except Broken as found:
            return found
        except ValueError:  # A number that has left its range: the invariant is broken, not this statement.
            continue
    return None


def _courses(way: str) -> list[Course]:
    """Return every course once: the settings are those of the variant."""
    return list(dict.fromkeys(course for course, _ in COURSES[way]))


def _is_variable(name: str) -> bool:
    """Tell whether a number is of the state, a reading, what an edge has said, or a time."""
    part = name.rsplit(".", 1)[0]
    return name in RANGES or part in RANGES or part == "inputs" or "begin_step" in name or name in TIMES
