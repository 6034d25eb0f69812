"""Pulses in a turn: from the pattern that comes back, from turns that were counted, or from both."""

from dataclasses import dataclass
from math import ceil, floor

from host_sim.capture.findings import GUESS
from host_sim.capture.pattern import Pattern

TURNS_OFF = 0.1  # Somebody who counts turns stops the pedal within 36 degrees of where it started.
PULSES_OFF = 1.0
LEGS_GUESS = 0.6  # Two peaks of speed a turn: true for legs, not for a hand on one pedal.
SEEN_LEAST, SEEN_MOST = 3, 64


@dataclass(frozen=True, slots=True)
class Seen:
    """Magnets seen in a turn, missing ones not counted, or 0 if unknown; and how sure."""

    magnets: int
    confidence: float


def seen_a_turn(pattern: Pattern, rises: int, turns: float | None) -> Seen:
    """Return the magnets seen in a turn; `rises` is how many passed, forward less backward, in `turns`."""
    if turns is None:
        if pattern.magnets:
            return Seen(pattern.magnets, pattern.confidence)
        return Seen(pattern.guess, LEGS_GUESS) if pattern.guess else Seen(0, 0.0)
    least, most = counted_between(rises, turns)
    possible = range(max(ceil(least), SEEN_LEAST), min(floor(most), SEEN_MOST) + 1)
    if pattern.magnets and pattern.confidence >= GUESS:
        # A ring made of equal parts shows one part; only the count shows how many.
        whole = [number for number in possible if number % pattern.magnets == 0]
        if len(whole) == 1 and whole[0] > pattern.magnets:
            return Seen(whole[0], 0.95)
        # The pattern and the count speak of the same ring, or one of them is wrong.
        return Seen(pattern.magnets, 0.99 if pattern.magnets in possible else GUESS)
    if len(possible) == 1:
        return Seen(possible[0], 0.97)
    if pattern.guess in possible:
        return Seen(pattern.guess, 0.85)
    nearest = round(rises / turns)
    return Seen(nearest, LEGS_GUESS) if nearest in possible else Seen(0, 0.0)


def counted_between(rises: int, turns: float) -> tuple[float, float]:
    """Return between which numbers the magnets seen in a turn must be, by a count of turns."""
    return (rises - PULSES_OFF) / (turns + TURNS_OFF), (rises + PULSES_OFF) / max(turns - TURNS_OFF, 0.1)


def turns_needed(seen: float) -> int:
    """Return how many turns to count so that only one whole number fits."""
    return ceil(2.0 * (PULSES_OFF + TURNS_OFF * max(seen, 8.0)))
