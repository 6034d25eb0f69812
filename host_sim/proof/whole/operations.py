"""Operations on values: arithmetic, comparisons, builtins, and what must hold for each of them."""

import ast
from collections.abc import Callable
from typing import Any

from host_sim.proof.whole import terms
from host_sim.proof.whole.program import HALF_PERIOD_US, SMALL_MAX, SMALL_MIN, Items, Record, Stamp
from host_sim.proof.whole.terms import Term
from host_sim.proof.whole.ways import Ways

COMPARED: dict[type[ast.cmpop], Callable[[Any, Any], Any]] = {
    ast.Lt: terms.less,
    ast.LtE: terms.at_most,
    ast.Gt: terms.more,
    ast.GtE: terms.at_least,
    ast.Eq: terms.equal,
    ast.NotEq: terms.unequal,
}


class Operations(Ways):
    """What operators and builtins come to."""

    def operation(self, node: ast.AST, op: ast.operator, one: Any, other: Any) -> Any:
        """Work out an operation on integers, and note what must hold for it."""
        if isinstance(one, Items) and isinstance(op, ast.Mult) and isinstance(other, int):
            values = [self.whole.store[one.number, index] for index in range(one.length)]
            return self.whole.items(values * other)
        if isinstance(one, str) or isinstance(other, str):
            return "text"
        if not terms.is_integer(one) or not terms.is_integer(other):
            raise self.refuse(node, "an operation on something else than integers")
        if isinstance(op, ast.FloorDiv):
            self.whole.must(self.where(node), "the divisor is positive", terms.less(0, other))
            return self.small(node, terms.divide(one, other))
        if isinstance(op, (ast.LShift, ast.RShift)):
            return self.small(node, self._shifted(node, op, one, other))
        if isinstance(op, ast.BitAnd) and isinstance(other, int) and other & (other + 1) == 0:
            if not isinstance(one, Term) or one.op != "bits":
                return terms.modulo(one, other + 1)
        sign = {ast.BitAnd: "&", ast.BitOr: "|", ast.BitXor: "^"}.get(type(op))
        if sign is not None:
            return terms.bitwise(sign, one, other)
        plain = {ast.Add: terms.add, ast.Sub: terms.subtract, ast.Mult: terms.multiply}.get(type(op))
        if plain is None:
            raise self.refuse(node, type(op).__name__)
        return self.small(node, plain(one, other))

    def _shifted(self, node: ast.AST, op: ast.operator, one: Any, places: Any) -> Any:
        if isinstance(op, ast.RShift) and isinstance(places, int):
            known = terms.bits_of(one) if isinstance(one, Term) and one.op == "bits" else None
            return terms.bits(known[places:]) if known is not None else terms.divide(one, 1 << places)
        if terms.low_of(places) < 0 or terms.high_of(places) > 30:
            raise self.refuse(node, "a shift by anything")
        result = None
        for place in reversed(range(terms.low_of(places), terms.high_of(places) + 1)):
            down = isinstance(op, ast.RShift)
            value = terms.divide(one, 1 << place) if down else terms.multiply(one, 1 << place)
            result = value if result is None else terms.choose(terms.equal(places, place), value, result)
        return result

    def small(self, node: ast.AST, value: Any) -> Any:
        """Note that a result must be a small integer."""
        if terms.low_of(value) < SMALL_MIN or terms.high_of(value) > SMALL_MAX:
            fits = terms.both(terms.at_most(SMALL_MIN, value), terms.at_most(value, SMALL_MAX))
            self.whole.must(self.where(node), "the result fits 31 bits", fits)
        return value

    def _compared(self, node: ast.AST, one: Any, op: ast.cmpop, other: Any) -> Any:
        if isinstance(op, (ast.In, ast.NotIn)) and isinstance(one, str) and isinstance(other, tuple):
            return (one in other) == isinstance(op, ast.In)
        if terms.is_truth(one) and terms.is_truth(other) and isinstance(op, (ast.Eq, ast.NotEq)):
            result = terms.same(one, other)
            return result if isinstance(op, ast.Eq) else terms.negate(result)
        if not terms.is_integer(one) or not terms.is_integer(other):
            raise self.refuse(node, "a comparison of something else than integers")
        compared = COMPARED.get(type(op))
        if compared is None:
            raise self.refuse(node, type(op).__name__)
        return compared(one, other)

    def _difference(self, node: ast.Call, later: Any, earlier: Any) -> Any:
        """Return what `ticks_diff_us` returns: the difference, brought into half a period either side."""
        if not isinstance(later, Stamp) or not isinstance(earlier, Stamp):
            raise self.refuse(node, "a difference of what are not both time stamps")
        span = terms.subtract(later.offset, earlier.offset)
        if terms.low_of(span) >= -HALF_PERIOD_US and terms.high_of(span) < HALF_PERIOD_US:
            return span
        wrapped = terms.modulo(terms.add(span, HALF_PERIOD_US), 2 * HALF_PERIOD_US)
        return terms.subtract(wrapped, HALF_PERIOD_US)

    def _builtin(self, node: ast.Call, name: str, arguments: list[Any]) -> Any:
        if name in ("min", "max", "abs") and all(terms.is_integer(arg) for arg in arguments):
            if (len(arguments) == 1) != (name == "abs"):
                raise self.refuse(node, f"{name} of {len(arguments)}")
            if name == "abs":
                return self.small(node, terms.absolute(arguments[0]))
            return terms.minimum(*arguments) if name == "min" else terms.maximum(*arguments)
        if name == "len":
            return arguments[0].length if isinstance(arguments[0], Items) else len(arguments[0])
        if name == "range" and all(isinstance(arg, int) for arg in arguments):
            return range(*arguments)
        if name == "isinstance" and arguments[1] in ("bool", "int"):
            whole = terms.is_integer(arguments[0]) or terms.is_truth(arguments[0])
            return terms.is_truth(arguments[0]) if arguments[1] == "bool" else whole
        if name == "str":
            return "text"
        if name == "getattr" and len(arguments) == 2:
            return self.whole.store[arguments[0].number, arguments[1]]
        if name == "setattr":
            self.whole.store[arguments[0].number, arguments[1]] = arguments[2]
            return None
        raise self.refuse(node, f"{name} of these")

    def as_truth(self, node: ast.AST, value: Any) -> Any:
        """Return whether a value counts as true."""
        if terms.is_truth(value):
            return value
        if terms.is_integer(value):
            return terms.negate(terms.equal(value, 0))
        if value is None or isinstance(value, (str, tuple, Record)):
            return bool(value)
        raise self.refuse(node, "a truth of something else")

    def _index(self, node: ast.AST, index: Any, length: int) -> None:
        if not terms.is_integer(index):
            raise self.refuse(node, "an index that is no integer")
        fits = terms.both(terms.at_most(0, index), terms.less(index, length))
        self.whole.must(self.where(node), f"the index lies from 0 to {length - 1}", fits)
