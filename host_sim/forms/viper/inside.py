"""Inlines a module's functions into each other before they become viper functions."""

import ast
from copy import deepcopy
from pathlib import Path

from host_sim.forms.outside import outside

NUMBERS = ("int", "bool")


class Inside:
    """Inlines functions. Their variables get the function's name as a prefix."""

    def __init__(self, path: Path, functions: dict[str, ast.FunctionDef]) -> None:
        """Take the functions of the module at `path`."""
        self._path = path
        self._functions = functions
        self._within: list[str] = []

    def written_out(self, function: ast.FunctionDef) -> list[ast.stmt]:
        """Return the statements of a function with all calls within the module inlined."""
        self._within.append(function.name)
        found = self._without_calls(deepcopy(function.body))
        self._within.pop()
        return found

    def _without_calls(self, nodes: list[ast.stmt]) -> list[ast.stmt]:
        found: list[ast.stmt] = []
        for node in nodes:
            called = self._called_by(node)
            if called is not None:
                found += self._call(node, *called)
                continue
            for part in ("body", "orelse"):
                if isinstance(node, ast.If | ast.While | ast.For):
                    setattr(node, part, self._without_calls(getattr(node, part)))
            found.append(node)
        return found

    def _called_by(self, node: ast.stmt) -> tuple[ast.Call, ast.FunctionDef] | None:
        call = node.value if isinstance(node, ast.Assign | ast.Expr) else None
        if isinstance(call, ast.Call) and isinstance(call.func, ast.Name) and call.func.id in self._functions:
            return call, self._functions[call.func.id]
        return None

    def _call(self, node: ast.stmt, call: ast.Call, function: ast.FunctionDef) -> list[ast.stmt]:
        if function.name in self._within or call.keywords or len(call.args) != len(function.args.args):
            raise outside(
                self._path,
                node,
                f"`{ast.unparse(call)}` is not a positional call of another function",
            )
        body, returned = _body_and_result(function)
        if any(isinstance(inner, ast.Return) for one in body for inner in ast.walk(one)):
            raise outside(self._path, function, f"{function.name} returns before its end, and is called here")
        if isinstance(node, ast.Assign) != (returned is not None):
            raise outside(
                self._path, node, f"`{ast.unparse(node)}` and {function.name} disagree about a result"
            )
        renamed, found = self._given(call, function)
        for one in body:
            renamed |= {name: f"{function.name}_{name}" for name in _stored_in(one) if name not in renamed}
        self._within.append(function.name)
        found += self._without_calls([_Renamed(renamed).visit(one) for one in body])
        self._within.pop()
        if isinstance(node, ast.Assign) and returned is not None:
            node.value = _Renamed(renamed).visit(returned)
            found.append(node)
        return found

    def _given(self, call: ast.Call, function: ast.FunctionDef) -> tuple[dict[str, str], list[ast.stmt]]:
        """Return the new names of parameters, and the statements that assign their values."""
        renamed: dict[str, str] = {}
        found: list[ast.stmt] = []
        for parameter, argument in zip(function.args.args, call.args, strict=True):
            kind = ast.unparse(parameter.annotation or call)
            if kind in NUMBERS:
                renamed[parameter.arg] = f"{function.name}_{parameter.arg}"
                target = ast.Name(renamed[parameter.arg], ast.Store())
                found.append(ast.copy_location(ast.Assign([target], argument), call))
            elif isinstance(argument, ast.Name):
                renamed[parameter.arg] = argument.id
            else:
                raise outside(self._path, call, f"`{ast.unparse(argument)}` must be a name, for {kind}")
        return renamed, found


def _body_and_result(function: ast.FunctionDef) -> tuple[list[ast.stmt], ast.expr | None]:
    """Return a copy of a function's statements without the last return, and the returned expression."""
    body = [one for one in deepcopy(function.body) if not is_text(one)]
    last = body[-1]
    if not isinstance(last, ast.Return):
        return body, None
    body.pop()
    if isinstance(last.value, ast.Call):
        result = ast.copy_location(ast.Name("result", ast.Store()), last)
        body.append(ast.copy_location(ast.Assign([result], last.value), last))
        last.value = ast.copy_location(ast.Name("result", ast.Load()), last)
    return body, last.value


class _Renamed(ast.NodeTransformer):
    """Renames variables."""

    def __init__(self, names: dict[str, str]) -> None:
        self._names = names

    def visit_Name(self, node: ast.Name) -> ast.Name:
        """Rename one variable."""
        return ast.copy_location(ast.Name(self._names.get(node.id, node.id), node.ctx), node)


def called_in(function: ast.FunctionDef) -> set[str]:
    """Return the names of what a function calls."""
    calls = (node for node in ast.walk(function) if isinstance(node, ast.Call))
    return {node.func.id for node in calls if isinstance(node.func, ast.Name)}


def _stored_in(node: ast.AST) -> set[str]:
    names = (one for one in ast.walk(node) if isinstance(one, ast.Name))
    return {one.id for one in names if isinstance(one.ctx, ast.Store)}


def is_text(node: ast.stmt) -> bool:
    """Return whether a statement is a bare string, such as a docstring."""
    return isinstance(node, ast.Expr) and isinstance(node.value, ast.Constant)
