"""What a statement is: premises and claims over a run, for which kinds of sensor, from which state."""

from collections.abc import Callable
from typing import Any

from host_sim.proof.whole.invariants import Clause
from host_sim.proof.whole.terms import implies

Said = tuple[str, Any, Any]
"""A sentence, when it speaks, and what holds then."""
ALL_KINDS = (0, 1, 2)
FORWARD, BACK = "forward", "back"
BACK_US = (-(1 << 29) + 10_000_000, -1)
"""How far a step may go back in time."""


class Statement:
    """`name`, `sentence`, `kinds`; what a run `says`; the clock's `way`; or `alone`, a method."""

    def __init__(
        self,
        name: str,
        sentence: str,
        says: Callable[[Any], list[Said]],
        kinds: tuple[int, ...] = ALL_KINDS,
        way: str = FORWARD,
        alone: tuple[str, str] | None = None,
    ) -> None:
        """Keep the parts."""
        self.name = name
        self.sentence = sentence
        self.says = says
        self.kinds = kinds
        self.way = way
        self.alone = alone

    def claims(self, run: Any) -> list[Clause]:
        """Return what is to be shown of a run."""
        return [(what, implies(when, then)) for what, when, then in self.says(run)]
