"""What only a teacher reads about a lesson. No pupil's page or package is made from this folder."""

from dataclasses import dataclass

from host_sim.lab.description import Values


@dataclass(frozen=True, slots=True)
class Teaching:
    """Aims, minutes, and notes as HTML; `solutions` are settings that solve the exercise.

    The answer of a lesson's prediction isn't written here: the teacher's pack rides and tells it.
    """

    aims: tuple[str, ...]
    minutes: int
    notes: str
    solutions: tuple[Values, ...]
