"""Noise of a reading: a sequence of normally distributed numbers."""

from collections.abc import Callable
from math import cos, log, pi, sin, sqrt
from random import Random
from threading import Lock

_TURN = 2.0 * pi
TAPE_NUMBERS = 16_384  # 82 s of control periods.
BLOCK_NUMBERS = 256  # Made at a time; an even number, since they come in pairs.
TAPES_KEPT = 16
_LOCK = Lock()  # Rides of one process may run in threads.


class _Tape:
    """The first numbers of a seed, made block by block when they are needed."""

    __slots__ = ("_made", "_numbers", "_uniform")

    def __init__(self, seed: int) -> None:
        """Start empty, with the generator of this seed."""
        self._uniform: Callable[[], float] = Random(seed).random
        self._numbers = [0.0] * TAPE_NUMBERS
        self._made = 0

    def number(self, place: int) -> float:
        """Return number `place`, 0 to TAPE_NUMBERS - 1."""
        while place >= self._made:
            with _LOCK:
                self._make(place)
        return self._numbers[place]

    def wind_on(self) -> None:
        """Forget these numbers and go on with those after the last one."""
        self.number(TAPE_NUMBERS - 1)
        self._made = 0

    def _make(self, place: int) -> None:
        """Make a block, unless another thread has just made the one that holds `place`."""
        if place < self._made:
            return
        at = self._made
        end = at + BLOCK_NUMBERS
        while at < end:
            turn = self._uniform() * _TURN
            radius = sqrt(-2.0 * log(1.0 - self._uniform()))
            self._numbers[at] = cos(turn) * radius
            self._numbers[at + 1] = sin(turn) * radius
            at += 2
        self._made = end


_tapes: dict[int, _Tape] = {}


def _shared_tape(seed: int) -> _Tape:
    """Return the tape of a seed; the oldest goes when there are too many."""
    with _LOCK:
        if seed not in _tapes:
            if len(_tapes) == TAPES_KEPT:
                del _tapes[next(iter(_tapes))]
            _tapes[seed] = _Tape(seed)
        return _tapes[seed]


class Noise:
    """Standard normal numbers by Box and Muller, "A note on the generation of random normal deviates" (1958).

    The same numbers as `Random(seed).gauss()` gives in CPython 3.11 to 3.14, in a form that compiles. Rides
    with the same seed share the first TAPE_NUMBERS: making them took a seventh of a sweep's time.
    """

    __slots__ = ("_place", "_seed", "_tape", "_tapes_used")

    def __init__(self, seed: int) -> None:
        """Start before the first number of this seed."""
        self._seed = seed
        self._place = TAPE_NUMBERS
        self._tapes_used = 0
        self._tape = _NO_TAPE

    def next(self) -> float:
        """Return the next number."""
        if self._place == TAPE_NUMBERS:
            self._change_tape()
        place = self._place
        self._place = place + 1
        return self._tape.number(place)

    def _change_tape(self) -> None:
        """Take the shared tape first, then private ones."""
        if self._tapes_used == 0:
            self._tape = _shared_tape(self._seed)
        else:
            if self._tapes_used == 1:
                self._tape = _Tape(self._seed)
            self._tape.wind_on()
        self._tapes_used += 1
        self._place = 0

    def __deepcopy__(self, memo: dict[int, object]) -> "Noise":
        """Return an independent copy that continues with the same numbers."""
        twin = Noise(self._seed)
        for _ in range(self._tapes_used):
            twin._change_tape()
        twin._place = self._place
        return twin


_NO_TAPE = _Tape(0)
