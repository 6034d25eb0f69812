"""The answer of an exercise's check."""

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Check:
    """Whether the present values solve the exercise, and a sentence about it."""

    solved: bool
    words: str


def check_all(wishes: list[tuple[bool, str]], solved: str) -> Check:
    """Return a check of several conditions, each with the sentence to show while it does not hold."""
    open_wishes = [words for holds, words in wishes if not holds]
    if open_wishes:
        return Check(False, "Not yet: " + "; ".join(open_wishes) + ".")
    return Check(True, "Solved. " + solved)
