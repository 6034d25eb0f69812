"""The lessons by number: title, question, notebook."""

from dataclasses import dataclass
from pathlib import Path

from host_sim.errors import RequestError

FOLDER = Path(__file__).resolve().parent / "lessons"


@dataclass(frozen=True, slots=True)
class Lesson:
    """One lesson: its title, the one question it answers, and the file of its notebook."""

    title: str
    question: str
    file: str

    @property
    def path(self) -> Path:
        """Where the notebook lies."""
        return FOLDER / self.file


LESSONS = (
    Lesson("two channels", "How does the board know which way the crank turns?", "direction.py"),
    Lesson("thresholds", "How soon may the motor start, and how soon must it stop?", "thresholds.py"),
    Lesson("slew", "How fast may the push come?", "slew.py"),
    Lesson("the power loop", "Why is more gain not simply better?", "loop.py"),
    Lesson("selector, throttle, place", "Who has the last word: the hand or the law?", "levers.py"),
    Lesson("break it", "What happens when something fails?", "faults.py"),
)


def check_number(number: int) -> int:
    """Return the number of a lesson; RequestError if there is none such."""
    if not 1 <= number <= len(LESSONS):
        raise RequestError(f"LESSON is {number}, allowed is 1 to {len(LESSONS)}")
    return number
