"""Both ways of a condition: gone one after the other from the same state, then joined."""

from __future__ import annotations

import ast
from collections.abc import Callable
from typing import TYPE_CHECKING, Any

from host_sim.proof.whole import terms
from host_sim.proof.whole.program import Function, Refused

if TYPE_CHECKING:
    from host_sim.proof.whole.interpreter import Interpreter


class Ways:
    """One call of a function: its variables, how it ends, and what an `if` makes of them."""

    def __init__(self, interpreter: Interpreter, function: Function, variables: dict[str, Any]) -> None:
        """Begin with the parameters."""
        self.whole = interpreter
        self.function = function
        self.variables = variables
        self.result: Any = None
        self.live: Any = True
        """Where the function has not returned yet, within the block being run; None after an exception."""

    def where(self, node: ast.AST) -> str:
        """Return file, function and line of a node."""
        place = self.function.module.name
        return f"{place} {self.function.title} line {getattr(node, 'lineno', 0)}"

    def refuse(self, node: ast.AST, what: str = "") -> Refused:
        """Return the refusal of a node."""
        return Refused(
            f"{self.function.module.path}:{getattr(node, 'lineno', 0)}: {what or type(node).__name__}"
        )

    def value(self, node: ast.expr) -> Any:
        """Return what an expression is worth."""
        raise NotImplementedError

    def _returned(self) -> None:
        self.live = False

    def ways(self, condition: Any, then: Callable[[], None], other: Callable[[], None]) -> None:
        """Go both ways from here, and merge what they leave."""
        whole = self.whole
        if isinstance(condition, bool):
            (then if condition else other)()
            return
        whole.branches += 1
        before = (whole.path, whole.store, self.variables, self.result)
        ends: list[Any] = []
        for truth, run in ((condition, then), (terms.negate(condition), other)):
            whole.path = terms.both(before[0], truth)
            whole.store, self.variables = dict(before[1]), dict(before[2])
            self.result, self.live = before[3], True
            if whole.path is not False:
                run()
            ends.append((whole.store, self.variables, self.result, self.live))
        whole.path = before[0]
        one, two = ends
        if one[3] is None or two[3] is None:
            # An exception ends everything: that it does not come is assumed of constructors, shown of steps.
            whole.store, self.variables, self.result, self.live = two if one[3] is None else one
            return
        whole.store = whole.merge(condition, one[0], two[0], before[1])
        self.live = self._joined_live(condition, one[3], two[3])
        if one[3] is False or two[3] is False:
            # One way has returned: its variables are of no more use.
            self.variables = two[1] if one[3] is False else one[1]
        else:
            self.variables = whole.merge(condition, one[1], two[1], before[2])
        self.result = self._joined_result(condition, one, two, before[3])

    @staticmethod
    def _joined_live(condition: Any, one: Any, two: Any) -> Any:
        if one is two:
            return one
        return terms.either(terms.both(condition, one), terms.both(terms.negate(condition), two))

    def _joined_result(self, condition: Any, one: Any, two: Any, before: Any) -> Any:
        """Join what was returned; where a way has not returned yet its result is not used."""
        if one[2] is two[2]:
            return one[2]
        if one[3] is True and one[2] is before:
            return two[2]
        if two[3] is True and two[2] is before:
            return one[2]
        if one[2] is None:
            return two[2]
        if two[2] is None:
            return one[2]
        return self.whole.merged(condition, one[2], two[2], before)
