"""Noise of a reading: a sequence of normally distributed numbers."""

from collections.abc import Callable
from math import cos, log, pi, sin, sqrt
from random import Random

_TURN = 2.0 * pi


class Noise:
    """Standard normal numbers by Box and Muller, "A note on the generation of random normal deviates" (1958).

    The same numbers as `Random(seed).gauss()` gives in CPython 3.11 to 3.14, in a form that compiles.
    """

    __slots__ = ("_keeps", "_kept", "_uniform")

    def __init__(self, seed: int) -> None:
        """Start with the generator of this seed."""
        self._uniform: Callable[[], float] = Random(seed).random
        self._kept = 0.0
        self._keeps = False

    def next(self) -> float:
        """Return the next number; two are made at a time."""
        if self._keeps:
            self._keeps = False
            return self._kept
        turn = self._uniform() * _TURN
        radius = sqrt(-2.0 * log(1.0 - self._uniform()))
        self._kept = sin(turn) * radius
        self._keeps = True
        return cos(turn) * radius

    def __deepcopy__(self, memo: dict[int, object]) -> "Noise":
        """Return an independent copy; a copied bound method would continue to draw this one's numbers."""
        twin = Noise(0)
        random = Random()
        generator: Random = self._uniform.__self__  # type: ignore[attr-defined]
        random.setstate(generator.getstate())
        twin._uniform = random.random
        twin._kept = self._kept
        twin._keeps = self._keeps
        return twin
