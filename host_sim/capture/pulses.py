"""Pulses per turn: from the pattern that repeats, from turns that the user counted, or from both."""

from dataclasses import dataclass
from math import ceil, floor

from host_sim.capture.findings import GUESS
from host_sim.capture.pattern import SHORTEST, Pattern
from host_sim.capture.ring import PULSES_MOST

TURNS_OFF = 0.1  # Somebody who counts turns stops the pedal within 36 degrees of where it started.
PULSES_OFF = 1.0
LEGS_GUESS = 0.6  # Two peaks of speed a turn: true for legs, not for a hand on one pedal.


@dataclass(frozen=True, slots=True)
class Seen:
    """Magnets seen in a turn, without missing ones, 0 if unknown; and the confidence, 0 to 1."""

    magnets: int
    confidence: float


def seen_a_turn(pattern: Pattern, rises: int, turns: float | None) -> Seen:
    """Return the magnets seen in a turn; `rises`: how many passed, forward minus backward, in `turns`."""
    if turns is None:
        if pattern.magnets:
            return Seen(pattern.magnets, pattern.confidence)
        return Seen(pattern.guess, LEGS_GUESS) if pattern.guess else Seen(0, 0.0)
    possible = possible_by_count(rises, turns, SHORTEST)
    if pattern.magnets and pattern.confidence >= GUESS:
        # A ring of equal parts shows one part; only the count shows how many there are.
        whole = [number for number in possible if number % pattern.magnets == 0]
        if len(whole) == 1 and whole[0] > pattern.magnets:
            return Seen(whole[0], 0.95)
        # If the count excludes the pattern's number, one of the two is wrong.
        return Seen(pattern.magnets, 0.99 if pattern.magnets in possible else GUESS)
    if len(possible) == 1:
        return Seen(possible[0], 0.97)
    if pattern.guess in possible:
        return Seen(pattern.guess, 0.85)
    nearest = round(rises / turns)
    return Seen(nearest, LEGS_GUESS) if nearest in possible else Seen(0, 0.0)


def possible_by_count(rises: int, turns: float, least: int) -> range:
    """Return the numbers of magnets per turn, from `least` to PULSES_MOST, that a count of turns allows."""
    lowest, highest = counted_between(rises, turns)
    return range(max(ceil(lowest), least), min(floor(highest), PULSES_MOST) + 1)


def counted_between(rises: int, turns: float) -> tuple[float, float]:
    """Return the lowest and the highest number of magnets per turn that a count of turns allows."""
    return (rises - PULSES_OFF) / (turns + TURNS_OFF), (rises + PULSES_OFF) / max(turns - TURNS_OFF, 0.1)


def turns_needed(seen: float) -> int:
    """Return how many turns to count so that only one whole number fits."""
    return ceil(2.0 * (PULSES_OFF + TURNS_OFF * max(seen, 8.0)))
