"""The result of checking an exercise."""

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Check:
    """Whether the present values solve the exercise, and a sentence about it."""

    solved: bool
    words: str


def check_all(conditions: list[tuple[bool, str]], solved: str) -> Check:
    """Return a check of several conditions, each with the words to show while it does not hold."""
    unmet = [words for holds, words in conditions if not holds]
    if unmet:
        return Check(False, "Not yet: " + "; ".join(unmet) + ".")
    return Check(True, "Solved. " + solved)
