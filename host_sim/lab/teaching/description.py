"""What only a teacher reads about a lesson. No pupil's page or package is made from this folder."""

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

    `questions` stand on the worksheet too.

    The answer of a lesson's prediction isn't written here: the teacher's pack rides and tells it.
    """

    aims: tuple[str, ...]
    minutes: int
    notes: str
    questions: tuple[Question, ...]
    solutions: tuple[Values, ...]
