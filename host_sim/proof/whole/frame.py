"""What statements do: one method for each kind that the firmware uses; all others are refused."""

import ast
from functools import partial
from typing import Any

from host_sim.proof.whole import terms
from host_sim.proof.whole.expressions import Expressions
from host_sim.proof.whole.program import TURNS_MAX


class Frame(Expressions):
    """One call of a function."""

    def block(self, body: list[ast.stmt]) -> None:
        """Run statements one after the other; after one that may have returned, where it has not."""
        for index, node in enumerate(body):
            self.statement(node)
            if self.live is False or self.live is None:
                return
            if self.live is not True:
                rest = body[index + 1 :]
                if rest:
                    condition, self.live = self.live, True
                    self.ways(condition, partial(self.block, rest), self._returned)
                return

    def statement(self, node: ast.stmt) -> None:
        """Run one statement."""
        method = getattr(self, "do_" + type(node).__name__.lower(), None)
        if method is None:
            raise self.refuse(node)
        method(node)

    def do_pass(self, node: ast.Pass) -> None:
        """Do nothing."""

    def do_expr(self, node: ast.Expr) -> None:
        """Run a call, pass over a docstring."""
        if isinstance(node.value, ast.Call):
            self.value(node.value)
        elif not isinstance(node.value, ast.Constant):
            raise self.refuse(node, "an expression that nobody uses")

    def do_return(self, node: ast.Return) -> None:
        """End the function on this way."""
        self.result = None if node.value is None else self.value(node.value)
        self.live = False

    def do_raise(self, node: ast.Raise) -> None:
        """Note where an exception comes; what follows is not gone."""
        self.whole.raised = terms.either(self.whole.raised, self.whole.path)
        self.whole.must(self.where(node), "no exception is raised", False)
        self.live = None

    def do_if(self, node: ast.If) -> None:
        """Go both ways, each with what the condition says about variables."""
        condition = self.truth(node.test)
        self.ways(
            condition,
            lambda: self._way(node.test, condition, True, node.body),
            lambda: self._way(node.test, condition, False, node.orelse),
        )

    def _way(self, test: ast.expr, condition: Any, holds: bool, body: list[ast.stmt]) -> None:
        self.learn(test, condition if holds else terms.negate(condition), holds)
        self.block(body)

    def do_while(self, node: ast.While) -> None:
        """Run a loop whose condition is known each time."""
        if node.orelse:
            raise self.refuse(node, "else after a loop")
        for _ in range(TURNS_MAX):
            condition = self.truth(node.test)
            if not isinstance(condition, bool):
                raise self.refuse(node, "a loop that nobody knows the end of")
            if not condition:
                return
            self.block(node.body)
            if self.live is not True:
                raise self.refuse(node, "a loop that may return")
        raise self.refuse(node, "a loop without an end")

    def do_for(self, node: ast.For) -> None:
        """Run a loop over known items."""
        if node.orelse:
            raise self.refuse(node, "else after a loop")
        for item in self.sequence(node.iter):
            self.assign(node.target, item)
            self.block(node.body)
            if self.live is not True:
                raise self.refuse(node, "a loop that may return")

    def do_assign(self, node: ast.Assign) -> None:
        """Set a variable, a field or an item."""
        if len(node.targets) != 1:
            raise self.refuse(node, "more than one target")
        self.assign(node.targets[0], self.value(node.value))

    def do_annassign(self, node: ast.AnnAssign) -> None:
        """Set a variable that has an annotation."""
        if node.value is None:
            raise self.refuse(node)
        self.assign(node.target, self.value(node.value))

    def do_augassign(self, node: ast.AugAssign) -> None:
        """Change a variable, a field or an item in place."""
        former = self.value(node.target)
        self.assign(node.target, self.operation(node, node.op, former, self.value(node.value)))
