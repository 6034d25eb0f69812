"""Assignments, and what a condition says about the ranges of variables and fields where it holds."""

import ast
from typing import Any

from host_sim.proof.whole import terms
from host_sim.proof.whole.operations import Operations
from host_sim.proof.whole.program import Items, Record
from host_sim.proof.whole.terms import Term


class Places(Operations):
    """Where values are kept."""

    def assign(self, target: ast.expr, value: Any) -> None:
        """Store a value."""
        if isinstance(target, ast.Name):
            self.variables[target.id] = value
        elif isinstance(target, ast.Attribute):
            record = self.value(target.value)
            if not isinstance(record, Record):
                raise self.refuse(target, "a field of something else than an object")
            if isinstance(value, Record) and value.name == value.kind.name:
                value.name = target.attr
            self.whole.store[record.number, target.attr] = value
        elif isinstance(target, ast.Subscript):
            self._assign_item(target, value)
        elif isinstance(target, ast.Tuple):
            values = list(value)
            for one, part in zip(target.elts, values, strict=True):
                self.assign(one, part)
        else:
            raise self.refuse(target)

    def _assign_item(self, target: ast.Subscript, value: Any) -> None:
        items, index = self.value(target.value), self.value(target.slice)
        if not isinstance(items, Items):
            raise self.refuse(target, "an item of something else than a list")
        self._index(target, index, items.length)
        for place in range(max(terms.low_of(index), 0), min(terms.high_of(index), items.length - 1) + 1):
            key = (items.number, place)
            former = self.whole.store[key]
            self.whole.store[key] = self.whole.merged(terms.equal(index, place), value, former, former)
            if terms.equal(index, place) is True:
                self.whole.store[key] = value

    def learn(self, test: ast.expr, condition: Any, holds: bool) -> None:
        """Narrow what a condition says about the range of variables and fields, on the way where it holds."""
        if isinstance(condition, bool):
            return
        for node, value, low, high, other in self._said(test, condition, holds):
            if not isinstance(value, Term) or self.value(node) is not value:
                continue  # Narrowed already by another part of the condition.
            least, most = (value.low if low is None else low), (value.high if high is None else high)
            narrowed = terms.narrow(value, least, most, condition, other)
            if narrowed is not value:
                self.assign(node, narrowed)

    def _said(self, test: ast.expr, condition: Any, holds: bool) -> list[Any]:
        """Return what a condition says: place, value, least and greatest or None, and by which value."""
        if isinstance(test, ast.UnaryOp) and isinstance(test.op, ast.Not):
            return self._said(test.operand, condition, not holds)
        if isinstance(test, ast.BoolOp) and isinstance(test.op, ast.And) == holds:
            return [one for value in test.values for one in self._said(value, condition, holds)]
        if isinstance(test, ast.Compare) and (holds or len(test.ops) == 1):
            places = [test.left, *test.comparators]
            pairs = zip(places, test.ops, places[1:], strict=False)
            return [
                one for left, op, right in pairs for one in self._of_pair(left, op, right, condition, holds)
            ]
        return []

    def _of_pair(
        self, left: ast.expr, op: ast.cmpop, right: ast.expr, condition: Any, holds: bool
    ) -> list[Any]:
        simple = (ast.Name, ast.Attribute, ast.Constant)
        if not isinstance(left, simple) or not isinstance(right, simple):
            return []
        one, two = self.value(left), self.value(right)
        if not terms.is_integer(one) or not terms.is_integer(two):
            return []
        truth = self._compared(left, one, op, two)
        if (truth if holds else terms.negate(truth)) not in terms.conjuncts(condition):
            return []  # Something has changed the values since they were compared.
        said = []
        for node, value, span, other in (
            (left, one, _range_of(op, holds, two), two),
            (right, two, _range_of(_MIRRORED.get(type(op), op), holds, one), one),
        ):
            if span is not None and not isinstance(node, ast.Constant):
                said.append((node, value, span[0], span[1], other))
        return said


_MIRRORED: dict[type, ast.cmpop] = {
    ast.Lt: ast.Gt(),
    ast.LtE: ast.GtE(),
    ast.Gt: ast.Lt(),
    ast.GtE: ast.LtE(),
}
_OPPOSITE: dict[type, ast.cmpop] = {
    ast.Lt: ast.GtE(),
    ast.LtE: ast.Gt(),
    ast.Gt: ast.LtE(),
    ast.GtE: ast.Lt(),
    ast.Eq: ast.NotEq(),
    ast.NotEq: ast.Eq(),
}


def _range_of(op: ast.cmpop, holds: bool, other: Any) -> tuple[int | None, int | None] | None:
    """Return in which range a value lies that compares so with `other`."""
    if other is None:
        return None
    if not holds:
        op = _OPPOSITE.get(type(op), op)
    low, high = terms.low_of(other), terms.high_of(other)
    if isinstance(op, ast.Lt):
        return None, high - 1
    if isinstance(op, ast.LtE):
        return None, high
    if isinstance(op, ast.Gt):
        return low + 1, None
    if isinstance(op, ast.GtE):
        return low, None
    return (low, high) if isinstance(op, ast.Eq) else None
