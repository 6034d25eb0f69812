"""What expressions are worth."""

import ast
from collections.abc import Callable
from typing import Any

from host_sim.proof.whole import terms
from host_sim.proof.whole.places import Places
from host_sim.proof.whole.program import BUILTINS, UNSET, Function, Items, Kind, Module, Record, Stamp


class Expressions(Places):
    """One method for each kind of expression that the firmware uses; all others are refused."""

    def truth(self, node: ast.expr) -> Any:
        """Return whether an expression counts as true."""
        if isinstance(node, ast.BoolOp):
            return self._joined(node, self.truth)
        if isinstance(node, ast.UnaryOp) and isinstance(node.op, ast.Not):
            return terms.negate(self.truth(node.operand))
        return self.as_truth(node, self.value(node))

    def _joined(self, node: ast.BoolOp, part: Callable[[ast.expr], Any]) -> Any:
        """Work out `and` or `or`: what stands right is looked at only where the left leaves it open."""
        result = part(node.values[0])
        for value in node.values[1:]:
            if not terms.is_truth(result):
                raise self.refuse(node, "and, or of something else than truths")
            if isinstance(node.op, ast.And):
                result = self._guarded(result, value, part, False)
            else:
                result = self._guarded(terms.negate(result), value, part, True)
        if not terms.is_truth(result):
            raise self.refuse(node, "and, or of something else than truths")
        return result

    def _guarded(
        self, condition: Any, node: ast.expr, part: Callable[[ast.expr], Any], otherwise: bool
    ) -> Any:
        found: list[Any] = []
        live = self.live
        self.ways(condition, lambda: found.append(part(node)), lambda: None)
        self.live = live
        if not found:
            return otherwise
        return terms.choose(condition, found[0], otherwise)

    def value(self, node: ast.expr) -> Any:
        """Return what an expression is worth."""
        method = getattr(self, "of_" + type(node).__name__.lower(), None)
        if method is None:
            raise self.refuse(node)
        return method(node)

    def of_constant(self, node: ast.Constant) -> Any:
        """Return a constant."""
        if not isinstance(node.value, (int, str)) and node.value is not None:
            raise self.refuse(node, "a constant of another kind")
        return node.value

    def of_joinedstr(self, node: ast.JoinedStr) -> Any:
        """Return no text: it only tells what was refused."""
        return "text"

    def of_name(self, node: ast.Name) -> Any:
        """Return a variable, or what its module has by this name."""
        if node.id in self.variables:
            value = self.variables[node.id]
            if value is UNSET:
                raise self.refuse(node, f"{node.id}, which not every way has set,")
            return value
        return self._global(node, self.function.module, node.id)

    def _global(self, node: ast.AST, module: Module, name: str) -> Any:
        if name in module.names:
            return module.names[name]
        if name in module.elsewhere:
            other, original = module.elsewhere[name]
            return self._global(node, self.whole.module(other), original)
        if name in BUILTINS:
            return name
        raise self.refuse(node, f"the name {name}")

    def of_tuple(self, node: ast.Tuple) -> Any:
        """Return a tuple."""
        return tuple(self.value(one) for one in node.elts)

    def of_list(self, node: ast.List) -> Any:
        """Return a new list."""
        return self.whole.items([self.value(one) for one in node.elts])

    def of_listcomp(self, node: ast.ListComp) -> Any:
        """Return the list of what one known sequence gives."""
        if len(node.generators) != 1 or node.generators[0].ifs:
            raise self.refuse(node)
        result = []
        for item in self.sequence(node.generators[0].iter):
            self.assign(node.generators[0].target, item)
            result.append(self.value(node.elt))
        return tuple(result)

    def of_attribute(self, node: ast.Attribute) -> Any:
        """Return a field, or a method with its object."""
        owner = self.value(node.value)
        if isinstance(owner, dict):
            return (owner, node.attr)
        if not isinstance(owner, Record):
            raise self.refuse(node, f"the field {node.attr} of something else than an object")
        key = (owner.number, node.attr)
        if key in self.whole.store:
            value = self.whole.store[key]
            if value is UNSET:
                raise self.refuse(node, f"the field {node.attr}, which not every way has set,")
            return value
        if node.attr in owner.kind.methods:
            return Function(owner.kind.methods[node.attr], owner.kind.module, owner, owner.kind)
        raise self.refuse(node, f"the field {node.attr}")

    def of_subscript(self, node: ast.Subscript) -> Any:
        """Return an item of a list or a tuple; where the index is not known, one joined of all."""
        items, index = self.value(node.value), self.value(node.slice)
        if isinstance(items, tuple):
            values = list(items)
        elif isinstance(items, Items):
            values = [self.whole.store[items.number, place] for place in range(items.length)]
        else:
            raise self.refuse(node, "an item of something else than a list")
        self._index(node, index, len(values))
        places = range(max(terms.low_of(index), 0), min(terms.high_of(index), len(values) - 1) + 1)
        if not places:
            raise self.refuse(node, "an index beyond its list")
        result = values[places[-1]]
        for place in reversed(places[:-1]):
            if isinstance(result, tuple):
                result = self._joined_rows(terms.equal(index, place), values[place], result)
            else:
                result = self.whole.merged(terms.equal(index, place), values[place], result, None)
        return result

    def _joined_rows(self, condition: Any, one: Any, other: Any) -> Any:
        return tuple(self.whole.merged(condition, a, b, None) for a, b in zip(one, other, strict=True))

    def of_ifexp(self, node: ast.IfExp) -> Any:
        """Go both ways of a conditional expression."""
        condition = self.truth(node.test)
        found: dict[bool, Any] = {}

        def way(holds: bool) -> None:
            self.learn(node.test, condition if holds else terms.negate(condition), holds)
            found[holds] = self.value(node.body if holds else node.orelse)

        live = self.live
        self.ways(condition, lambda: way(True), lambda: way(False))
        self.live = live
        if len(found) == 1:
            return found.popitem()[1]
        return self.whole.merged(condition, found[True], found[False], None)

    def of_boolop(self, node: ast.BoolOp) -> Any:
        """Return `and` or `or` of truths."""
        return self._joined(node, self.value)

    def of_unaryop(self, node: ast.UnaryOp) -> Any:
        """Return a negation."""
        if isinstance(node.op, ast.Not):
            return terms.negate(self.truth(node.operand))
        value = self.value(node.operand)
        if isinstance(node.op, ast.USub) and terms.is_integer(value):
            return self.small(node, terms.subtract(0, value))
        raise self.refuse(node)

    def of_binop(self, node: ast.BinOp) -> Any:
        """Return the result of an operation."""
        return self.operation(node, node.op, self.value(node.left), self.value(node.right))

    def of_compare(self, node: ast.Compare) -> Any:
        """Return whether a comparison holds; a chain compares neighbours."""
        values = [self.value(node.left), *(self.value(one) for one in node.comparators)]
        result: Any = True
        for one, op, other in zip(values, node.ops, values[1:], strict=False):
            result = terms.both(result, self._compared(node, one, op, other))
        return result

    def of_call(self, node: ast.Call) -> Any:
        """Call a function or method of the firmware, or one of the few builtins that it uses."""
        if node.keywords or any(isinstance(arg, ast.Starred) for arg in node.args):
            raise self.refuse(node, "a call with other arguments")
        function = self.value(node.func)
        if isinstance(function, tuple) and len(function) == 2 and isinstance(function[0], dict):
            return self._of_dictionary(node, *function)
        arguments = [self.value(arg) for arg in node.args]
        if isinstance(function, Kind):
            return self.whole.construct(function, arguments)
        if isinstance(function, Function):
            if function.title == "ticks_diff_us" and any(isinstance(arg, Stamp) for arg in arguments):
                return self._difference(node, *arguments)
            return self.whole.run(function, arguments)
        if isinstance(function, str):
            return self._builtin(node, function, arguments)
        raise self.refuse(node, "a call of something else")

    def _of_dictionary(self, node: ast.Call, values: dict[str, Any], name: str) -> Any:
        if name != "get" or len(node.args) != 2:
            raise self.refuse(node, f"{name} of a dictionary")
        return values.get(self.value(node.args[0]), self.value(node.args[1]))

    def sequence(self, node: ast.expr) -> list[Any]:
        """Return the items of a known sequence."""
        value = self.value(node)
        if isinstance(value, Items):
            return [self.whole.store[value.number, index] for index in range(value.length)]
        if isinstance(value, (tuple, range, list, dict)):
            return list(value)
        raise self.refuse(node, "a sequence that is not known")
