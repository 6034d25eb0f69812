"""Reads the firmware with Python's parser and the objects of a built controller, as `meaning.py` says.

It does not use the translator either: which class a method belongs to is seen on the objects themselves.
"""

import ast
import importlib
import inspect
from collections.abc import Iterator
from dataclasses import dataclass
from types import FunctionType, ModuleType
from typing import Any

from tests.forms.meaning import (
    Meaning,
    NotRead,
    applied,
    both,
    chosen,
    denied,
    extreme,
    minus,
    truth,
)

SIGNS = {
    ast.Add: "+",
    ast.Sub: "-",
    ast.Mult: "*",
    ast.FloorDiv: "//",
    ast.Mod: "%",
    ast.LShift: "<<",
    ast.RShift: ">>",
    ast.BitAnd: "&",
    ast.BitOr: "|",
    ast.BitXor: "^",
    ast.Lt: "<",
    ast.LtE: "<=",
    ast.Gt: ">",
    ast.GtE: ">=",
    ast.Eq: "==",
    ast.NotEq: "!=",
}
EXTREMES = (min, max, abs)
REFUSES = ("return", ("number", 0))
ACCEPTS = ("return", ("number", 1))


def objects_of(*roots: Any) -> dict[str, Any]:
    """Return one object of each class of the firmware that the roots hold, by the name of the class."""
    found: dict[str, Any] = {}
    open_ones = list(roots)
    while open_ones:
        one = open_ones.pop()
        if type(one).__module__.startswith("firmware") and type(one).__name__ not in found:
            found[type(one).__name__] = one
            open_ones += fields_of(one).values()
    return found


def fields_of(one: Any) -> dict[str, Any]:
    """Return the fields of an object and what they hold."""
    names = getattr(type(one), "__slots__", None) or vars(one)
    return {name: getattr(one, name) for name in names}


def c_name(function: FunctionType) -> str:
    """Return what a function is called in C, where there are no classes."""
    owner, _, name = function.__qualname__.rpartition(".")
    return f"{owner}_{'init' if name == '__init__' else name.lstrip('_')}" if owner else name


def may_refuse(kind: type) -> bool:
    """Whether a constructor raises an error, or builds something whose constructor does."""
    tree = _definition(kind.__init__)  # type: ignore[misc]
    module = importlib.import_module(kind.__module__)
    for node in ast.walk(tree):
        if isinstance(node, ast.Raise):
            return True
        built: Any = None
        if isinstance(node, ast.Call) and isinstance(node.func, ast.Name):
            built = getattr(module, node.func.id, None)
        if inspect.isclass(built) and not issubclass(built, BaseException) and may_refuse(built):
            return True
    return False


def _definition(function: Any) -> ast.FunctionDef:
    lines, first = inspect.getsourcelines(function)
    tree = ast.parse(inspect.cleandoc("".join(lines)) if first < 0 else _dedented(lines))
    found = tree.body[0]
    assert isinstance(found, ast.FunctionDef)
    return found


def _dedented(lines: list[str]) -> str:
    indent = len(lines[0]) - len(lines[0].lstrip())
    return "".join(line[indent:] if line.strip() else line for line in lines)


@dataclass(frozen=True, slots=True)
class PythonFunction:
    """A function of the firmware: what it does, its head in C's words, and the functions that it calls."""

    body: list[Meaning]
    result: str
    parameters: tuple[tuple[str, str], ...]
    calls: tuple[FunctionType, ...]


class PythonReader:
    """Reads one function of the firmware."""

    def __init__(self, function: FunctionType, objects: dict[str, Any]) -> None:
        """Read with one object of each class, which `objects_of` gives."""
        self._objects = objects
        self._module: ModuleType = importlib.import_module(function.__module__)
        self._tree = _definition(function)
        self._owner = function.__qualname__.rpartition(".")[0]
        self._calls: list[FunctionType] = []
        self._instead: dict[str, Meaning] = {}
        """What loop variables of a loop that C writes out stand for."""
        self._refuses = self._tree.name == "__init__" and may_refuse(getattr(self._module, self._owner))
        arguments = self._tree.args.args
        self._known: dict[str, Any] = {"self": objects.get(self._owner)} if self._owner else {}
        self._known |= {
            one.arg: objects.get(_annotated(one.annotation)) for one in arguments if one.annotation
        }
        stored = [one for one in ast.walk(self._tree) if isinstance(one, ast.Name)]
        self._own = {one.id for one in stored if isinstance(one.ctx, ast.Store)}
        self._own |= {one.arg for one in arguments}

    def read(self) -> PythonFunction:
        """Return the function. Raises NotRead where it holds anything unknown."""
        body = self._block(self._tree.body)
        if self._refuses:
            body.append(ACCEPTS)
        result = "bool" if self._refuses else _word(self._tree.returns)
        parameters = [
            (one.arg, _word(one.annotation) if one.annotation else f"{self._owner} *")
            for one in self._tree.args.args
        ]
        return PythonFunction(body, result, tuple(parameters), tuple(self._calls))

    def _block(self, statements: list[ast.stmt]) -> list[Meaning]:
        return [found for statement in statements for found in self._statement(statement)]

    def _statement(self, node: ast.stmt) -> Iterator[Meaning]:
        if isinstance(node, ast.Assign) and len(node.targets) == 1:
            yield from self._assigned(node.targets[0], node.value)
        elif isinstance(node, ast.AugAssign):
            place = self._value(node.target)
            yield ("set", place, applied(SIGNS[type(node.op)], place, self._value(node.value)))
        elif isinstance(node, ast.Return):
            bare = ACCEPTS if self._refuses else ("return", None)
            yield ("return", self._value(node.value)) if node.value is not None else bare
        elif isinstance(node, ast.Raise) and self._refuses:
            yield REFUSES
        elif isinstance(node, ast.If):
            yield ("if", truth(self._value(node.test)), self._block(node.body), self._block(node.orelse))
        elif isinstance(node, ast.While) and not node.orelse:
            yield ("while", truth(self._value(node.test)), self._block(node.body))
        elif isinstance(node, ast.For) and not node.orelse:
            yield from self._loop(node)
        elif isinstance(node, ast.Expr) and isinstance(node.value, ast.Call):
            yield ("do", self._value(node.value))
        elif not (isinstance(node, ast.Expr) and isinstance(node.value, ast.Constant)):
            raise NotRead(f"{ast.unparse(node)} in {self._tree.name}")

    def _assigned(self, target: ast.expr, value: ast.expr) -> Iterator[Meaning]:
        place = self._value(target)
        if isinstance(target, ast.Name):
            self._known[target.id] = self._object(value)
        if isinstance(value, ast.List):
            for at, element in enumerate(value.elts):
                yield ("set", ("element", place, ("number", at)), self._value(element))
        elif isinstance(value, ast.BinOp) and isinstance(value.left, ast.List):
            (element,) = value.left.elts
            filled = ("set", ("element", place, ("name", "index")), self._value(element))
            yield ("count", "index", ("number", 0), self._value(value.right), [filled])
        elif isinstance(value, ast.Call) and inspect.isclass(kind := self._global(value.func)):
            constructor: Any = kind.__init__
            self._calls.append(constructor)
            built = ("call", c_name(constructor), place, *map(self._value, value.args))
            yield ("if", denied(built), [REFUSES], []) if may_refuse(kind) else ("do", built)
        else:
            yield ("set", place, self._value(value))

    def _loop(self, node: ast.For) -> Iterator[Meaning]:
        if isinstance(node.iter, ast.Tuple):
            for row in node.iter.elts:
                self._instead |= self._row(node.target, row)
                yield from self._block(node.body)
            self._instead.clear()
            return
        name = ast.unparse(node.target)
        if isinstance(node.iter, ast.Name):
            table, index = self._value(node.iter), ("name", f"{name}_index")
            first = ("set", ("name", name), ("element", table, index))
            yield (
                "count",
                index[1],
                ("number", 0),
                ("number", len(table[1])),
                [first, *self._block(node.body)],
            )
        elif isinstance(node.iter, ast.Call) and ast.unparse(node.iter.func) == "range":
            ends = [("number", 0), *map(self._value, node.iter.args)][-2:]
            yield ("count", name, *ends, self._block(node.body))
        else:
            raise NotRead(f"{ast.unparse(node.iter)} in {self._tree.name}")

    def _row(self, target: ast.expr, row: ast.expr) -> dict[str, Meaning]:
        names = target.elts if isinstance(target, ast.Tuple) else [target]
        values = row.elts if isinstance(row, ast.Tuple) else [row]
        read = [
            ("text",) if isinstance(one, ast.Constant) and isinstance(one.value, str) else self._value(one)
            for one in values
        ]
        return dict(zip(map(ast.unparse, names), read, strict=True))

    def _value(self, node: ast.expr) -> Meaning:
        if isinstance(node, ast.Constant) and isinstance(node.value, int):
            return ("number", int(node.value))
        if isinstance(node, ast.Name):
            return self._named(node)
        if isinstance(node, ast.Attribute):
            return ("field", self._value(node.value), node.attr)
        if isinstance(node, ast.Subscript):
            return ("element", self._value(node.value), self._value(node.slice))
        if isinstance(node, ast.IfExp):
            return chosen(self._value(node.test), self._value(node.body), self._value(node.orelse))
        if isinstance(node, ast.BoolOp):
            return both("and" if isinstance(node.op, ast.And) else "or", list(map(self._value, node.values)))
        if isinstance(node, ast.UnaryOp) and isinstance(node.op, ast.Not | ast.USub):
            it = self._value(node.operand)
            return denied(it) if isinstance(node.op, ast.Not) else minus(it)
        if isinstance(node, ast.BinOp):
            return applied(SIGNS[type(node.op)], self._value(node.left), self._value(node.right))
        if isinstance(node, ast.Compare):
            parts = [self._value(one) for one in (node.left, *node.comparators)]
            pairs = [(SIGNS[type(sign)], *parts[at : at + 2]) for at, sign in enumerate(node.ops)]
            return pairs[0] if len(pairs) == 1 else both("and", pairs)
        if isinstance(node, ast.Call):
            return self._called(node)
        raise NotRead(f"{ast.unparse(node)} in {self._tree.name}")

    def _named(self, node: ast.Name) -> Meaning:
        if node.id in self._instead:
            return self._instead[node.id]
        if node.id in self._own:
            return ("name", node.id)
        value = self._global(node)
        if isinstance(value, int):
            return ("number", int(value))
        if isinstance(value, tuple):
            return ("table", value)
        raise NotRead(f"{node.id} in {self._tree.name}")

    def _called(self, node: ast.Call) -> Meaning:
        given = [self._value(one) for one in node.args]
        if isinstance(node.func, ast.Attribute):
            owner = self._object(node.func.value)
            function = getattr(type(owner), node.func.attr)
            self._calls.append(function)
            return ("call", c_name(function), self._value(node.func.value), *given)
        function = self._global(node.func)
        if function is len:
            return ("number", self._length(node.args[0], given[0]))
        if function in EXTREMES:
            return extreme(function.__name__, given)
        if not isinstance(function, FunctionType):
            raise NotRead(f"{ast.unparse(node)} in {self._tree.name}")
        self._calls.append(function)
        return ("call", c_name(function), *given)

    def _length(self, node: ast.expr, it: Meaning) -> int:
        return len(it[1]) if it[0] == "table" else len(self._object(node))

    def _global(self, node: ast.expr) -> Any:
        """Return what a name means in the function's module, or among Python's own; None otherwise."""
        if not isinstance(node, ast.Name) or node.id in self._own:
            return None
        builtins = self._module.__builtins__
        found = vars(self._module).get(node.id)
        return found if found is not None else builtins.get(node.id)

    def _object(self, node: ast.expr) -> Any:
        """Return an object that an expression of names and fields means; None if it is a number."""
        if isinstance(node, ast.Name):
            return self._known.get(node.id)
        if isinstance(node, ast.Attribute):
            owner = self._object(node.value)
            return getattr(owner, node.attr, None)
        return None


def _annotated(node: ast.expr | None) -> str:
    return ast.unparse(node).strip("\"'") if node is not None else "None"


def _word(node: ast.expr | None) -> str:
    """Return the type of an annotation in C's words."""
    name = _annotated(node)
    return {"int": "int32_t", "bool": "bool", "None": "void"}.get(name, f"{name} *")
