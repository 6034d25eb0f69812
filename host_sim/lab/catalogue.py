"""The lessons by number: what a lesson is called, and where its description is.

Descriptions are imported one by one: a page that shows one lesson does not wait for the others.
"""

from dataclasses import dataclass
from importlib import import_module
from pathlib import Path

from host_sim.errors import RequestError
from host_sim.lab.description import Lesson

FOLDER = Path(__file__).resolve().parent / "notebooks"


@dataclass(frozen=True, slots=True)
class Entry:
    """One lesson: its title, the one question it answers, and the file of its notebook."""

    title: str
    question: str
    file: str

    @property
    def path(self) -> Path:
        """Where the notebook lies."""
        return FOLDER / self.file


LESSONS = (
    Entry("two channels", "How does the board know which way the crank turns?", "direction.py"),
    Entry("thresholds", "How soon may the motor start, and how soon must it stop?", "thresholds.py"),
    Entry("slew", "How fast may the push come?", "slew.py"),
    Entry("the power loop", "Why is more gain not simply better?", "loop.py"),
    Entry("selector, throttle, place", "Who has the last word: the hand or the law?", "levers.py"),
    Entry("break it", "What happens when something fails?", "faults.py"),
)
NAMES = ("direction", "thresholds", "slew", "loop", "levers", "faults")
"""Modules of `host_sim/lab/lessons` and `host_sim/lab/teaching`, lesson by lesson."""


def lesson(number: int) -> Lesson:
    """Return the description of a lesson; RequestError if there is none such."""
    described: Lesson = import_module(f"host_sim.lab.lessons.{NAMES[check_number(number) - 1]}").LESSON
    return described


def check_number(number: int) -> int:
    """Return the number of a lesson; RequestError if there is none such."""
    if not 1 <= number <= len(NAMES):
        raise RequestError(f"LESSON is {number}, allowed is 1 to {len(NAMES)}")
    return number
