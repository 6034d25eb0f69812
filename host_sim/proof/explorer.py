"""Runs a function on symbols once for every path that its branches can take.

A path is a list of choices. The function is run again from the start for each path; at each branch
the solver decides which choices are possible, given the earlier ones.
"""

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import z3

from host_sim.proof.numbers import Failure
from host_sim.proof.symbolic import (
    SMALL_MAX,
    SMALL_MIN,
    SymBool,
    SymInt,
    WideInt,
    bounds,
    term_of,
    truth_of,
)

SOLVER_STEPS = 2_000_000_000  # For one question. Not seconds, since a busy machine does less in a second.
INDEX_VALUES_MAX = 64


class Unknown(Exception):
    """The solver reached its limit: nothing is proved, nothing refuted."""


@dataclass(frozen=True, slots=True)
class Vector:
    """Numbers that follow one path: `values` of the symbols, and the `outcome` that the solver predicts."""

    values: dict[str, int]
    outcome: dict[str, int]


class _PathEnded(Exception):
    """The assumptions can't hold on this path."""


class Explorer:
    """Explores all paths of one function.

    Read: how many `paths` and `checks`; `vectors` of each path; `ranges`, the lowest and highest value of
    each symbol.
    """

    def __init__(self) -> None:
        """Start with nothing explored."""
        self.paths = 0
        self.checks = 0
        self.vectors: list[Vector] = []
        self.ranges: dict[str, tuple[int, int]] = {}
        self._outcome: dict[str, Any] = {}
        self._solver = z3.Solver()
        self._solver.set("rlimit", SOLVER_STEPS)
        self._symbols: dict[str, z3.ArithRef] = {}
        self._plan: list[int] = []
        self._taken: list[int] = []
        self._open: list[list[int]] = []

    def explore(self, run: Callable[["Explorer"], None]) -> None:
        """Run `run` down every path. It makes its symbols, assumes, steps and checks.

        Failure if a check does not hold on some path, Unknown if the solver can't decide.
        """
        self._open = [[]]
        while self._open:
            self._plan = self._open.pop()
            self._taken = []
            self._symbols = {}
            self._outcome = {}
            self._solver.push()
            try:
                run(self)
                self._finish()
            except _PathEnded:
                pass
            finally:
                self._solver.pop()

    def _finish(self) -> None:
        self.paths += 1
        self._ask()
        model = self._solver.model()
        outcome = {name: _number(model, value) for name, value in self._outcome.items()}
        self.vectors.append(Vector(self._values(), outcome))

    def integer(self, name: str, low: int, high: int) -> SymInt:
        """Return a new symbol from `low` to `high`. Names are unique in a run."""
        term = z3.Int(name)
        self._symbols[name] = term
        lowest, highest = self.ranges.get(name, (low, high))
        self.ranges[name] = min(lowest, low), max(highest, high)
        self._solver.add(term >= low, term <= high)
        return SymInt(self, term, low, high)

    def wide(self, value: Any) -> Any:
        """Return `value` for computing beyond 31 bits, in a check."""
        return WideInt(self, term_of(value), *bounds(value))

    def outcome(self, **values: Any) -> None:
        """Record the result of the step, to compare with a run on plain numbers."""
        self._outcome.update(values)

    def boolean(self, name: str) -> SymBool:
        """Return a new symbolic boolean."""
        number = self.integer(name, 0, 1)
        return SymBool(self, number.term == 1)

    def assume(self, condition: Any) -> None:
        """Continue only where `condition` holds."""
        if isinstance(condition, SymBool):
            self._solver.add(condition.term)
            if self._solver.check() == z3.unsat:
                raise _PathEnded
        elif not condition:
            raise _PathEnded

    def check(self, condition: Any, what: str) -> None:
        """Make sure that `condition` holds for all values on this path, else raise Failure."""
        self.checks += 1
        if isinstance(condition, bool):
            if not condition:
                self._ask()
                raise Failure(what, self._values())
            return
        term = condition.term if isinstance(condition, SymBool) else condition
        self._solver.push()
        try:
            self._solver.add(z3.Not(term))
            answer = self._solver.check()
            if answer == z3.sat:
                raise Failure(what, self._values())
            if answer == z3.unknown:
                raise Unknown(what)
        finally:
            self._solver.pop()

    def show(self, condition: Any, what: str) -> None:
        """Check `condition`, then let the solver use it, as a step towards a harder conclusion."""
        self.check(condition, what)
        if isinstance(condition, SymBool):
            self._solver.add(condition.term)

    def check_small(self, term: z3.ArithRef, operator: str) -> None:
        """Make sure that a result fits a small int."""
        small = z3.And(term >= SMALL_MIN, term <= SMALL_MAX)
        self.check(small, f"the result of {operator} fits 31 bits")

    def decide(self, term: z3.BoolRef) -> bool:
        """Return the value of `term` on this path; explore the other one later if it is possible."""
        return self._take(lambda way: term if way else z3.Not(term), lambda: [1, 0]) == 1

    def choose(self, term: z3.ArithRef, low: int, high: int) -> int:
        """Return one value of `term` for this path; explore the others later.

        TypeError if there are more than INDEX_VALUES_MAX of them: nothing to use as an index. Unknown if the
        solver can't list them all.
        """
        few = high - low < INDEX_VALUES_MAX
        return self._take(
            lambda value: term == value, lambda: list(range(low, high + 1)) if few else self._all_values(term)
        )

    def _all_values(self, term: z3.ArithRef) -> list[int]:
        """Return every number that `term` can be on this path, in ascending order."""
        values: list[int] = []
        self._solver.push()
        try:
            while (model := self._some_model()) is not None:
                if len(values) == INDEX_VALUES_MAX:
                    raise TypeError(f"an index may not be one of more than {INDEX_VALUES_MAX} numbers")
                values.append(model.eval(term, model_completion=True).as_long())
                self._solver.add(term != values[-1])
        finally:
            self._solver.pop()
        return sorted(values)

    def _some_model(self) -> z3.ModelRef | None:
        """Return values that fit this path, or None if there are none; Unknown if the solver can't decide."""
        answer, solver = self._solver.check(), self._solver
        if answer == z3.unknown:  # A solver that was asked other things before may give up.
            solver = z3.Solver()
            solver.set("rlimit", SOLVER_STEPS)
            solver.add(self._solver.assertions())
            answer = solver.check()
        if answer == z3.unknown:
            raise Unknown("all numbers that an index can be")
        return solver.model() if answer == z3.sat else None

    def _take(self, meaning: Callable[[int], z3.BoolRef], ways: Callable[[], list[int]]) -> int:
        """Go one of several ways: the planned one, or the first possible, with the others left open."""
        depth = len(self._taken)
        if depth < len(self._plan):
            way = self._plan[depth]
        else:
            possible = [one for one in ways() if self._possible(meaning(one))]
            if not possible:
                raise _PathEnded
            way = possible[0]
            for other in possible[1:]:
                self._open.append([*self._taken, other])
        self._taken.append(way)
        self._solver.add(meaning(way))
        return way

    def _possible(self, term: z3.BoolRef) -> bool:
        self._solver.push()
        try:
            self._solver.add(term)
            # A choice that the solver can't refute is explored: more paths, never fewer.
            return bool(self._solver.check() != z3.unsat)
        finally:
            self._solver.pop()

    def _ask(self) -> None:
        if self._solver.check() != z3.sat:
            raise Unknown("no values for a path that was taken")

    def _values(self) -> dict[str, int]:
        model = self._solver.model()
        return {
            name: model.eval(term, model_completion=True).as_long() for name, term in self._symbols.items()
        }


def _number(model: z3.ModelRef, value: Any) -> int:
    """Return `value` in this model; booleans as 0 and 1."""
    if isinstance(value, SymInt):
        return int(model.eval(value.term, model_completion=True).as_long())
    if isinstance(value, SymBool):
        return int(z3.is_true(model.eval(truth_of(value), model_completion=True)))
    return int(value)
