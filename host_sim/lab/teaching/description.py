"""The teacher's part of a lesson. No pupil's page or package is made from this folder."""

from dataclasses import dataclass

from host_sim.lab.description import Values


@dataclass(frozen=True, slots=True)
class Question:
    """A question that a class answers on paper; only the teacher's page has the `answer`."""

    question: str
    answer: str


@dataclass(frozen=True, slots=True)
class Teaching:
    """Aims, minutes, and notes as HTML; `solutions` are settings that solve the exercise.

    `questions` are also printed on the worksheet. The answer to a lesson's prediction isn't stored here: the
    teacher's pack rides it and prints the result.
    """

    aims: tuple[str, ...]
    minutes: int
    notes: str
    questions: tuple[Question, ...]
    solutions: tuple[Values, ...]
