"""The lessons by number, and where their descriptions are.

Descriptions are imported one by one: a page that shows one lesson does not wait for the others.
"""

from importlib import import_module

from host_sim.errors import RequestError
from host_sim.lab.description import Lesson

NAMES = ("direction", "thresholds", "slew", "loop", "levers", "faults")
"""Modules of `host_sim/lab/lessons` and `host_sim/lab/teaching`, lesson by lesson."""
NUMBERS = range(1, len(NAMES) + 1)


def lesson(number: int) -> Lesson:
    """Return the description of a lesson; RequestError if there is no such lesson."""
    described: Lesson = import_module(f"host_sim.lab.lessons.{NAMES[check_number(number) - 1]}").LESSON
    return described


def check_number(number: int) -> int:
    """Return the number of a lesson; RequestError if there is no such lesson."""
    if number not in NUMBERS:
        raise RequestError(f"LESSON is {number}, allowed is 1 to {len(NAMES)}")
    return number
