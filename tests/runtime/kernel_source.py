"""Cuts a firmware file into pieces small enough to be typed into a microcontroller with 9 kB of heap.

What a machine does not run is left out: docstrings, comments, annotations, `__slots__`, imports. A class
comes as an empty one, and then method by method. Two things are put in another way, because MicroPython
1.9.2 has no f-strings and there are no modules to import from: the text of an error becomes a plain word, and
what is imported is looked up here and sent as a number. Names that begin with an underscore get shorter ones:
they are nobody else's business, and each letter takes memory there.
"""

import ast
import re
from importlib import import_module
from pathlib import Path

from host_sim.compiled.build import ROOT

_PRIVATE = re.compile(r"\b_(?!_)\w+")
_numbers: dict[str, int] = {}


def pieces_of(module: str) -> list[str]:
    """Return the source of a firmware module, such as `firmware.sense.crank`, in pieces to run in order."""
    path: Path = ROOT / (module.replace(".", "/") + ".py")
    tree = _Stripped().visit(ast.parse(path.read_text(encoding="utf-8")))
    pieces = []
    for statement in tree.body:
        if isinstance(statement, ast.ImportFrom):
            pieces += _imported_numbers(statement)
        elif isinstance(statement, ast.ClassDef):
            pieces += _class_in_pieces(statement)
        elif not isinstance(statement, ast.Import):
            pieces.append(ast.unparse(ast.fix_missing_locations(statement)))
    return [shortened(piece) for piece in pieces]


def shortened(source: str) -> str:
    """Return source with its private names as they are sent."""
    return _PRIVATE.sub(_shortened, source)


def _shortened(name: re.Match[str]) -> str:
    return f"_{_numbers.setdefault(name.group(), len(_numbers))}"


def _imported_numbers(statement: ast.ImportFrom) -> list[str]:
    """Return assignments for imported numbers; functions are sent with their own module."""
    module = import_module(str(statement.module))
    values = {alias.name: getattr(module, alias.name) for alias in statement.names}
    return [f"{name} = {value}" for name, value in values.items() if isinstance(value, int)]


def _class_in_pieces(statement: ast.ClassDef) -> list[str]:
    pieces = [f"class {statement.name}:\n pass"]
    for member in statement.body:
        if isinstance(member, ast.FunctionDef):
            function = ast.unparse(ast.fix_missing_locations(member))
            pieces.append(f"{function}\n{statement.name}.{member.name} = {member.name}\ndel {member.name}")
        elif not isinstance(member, ast.Pass):
            raise ValueError(f"{statement.name} has a member that can't be sent: {ast.unparse(member)}")
    return pieces


class _Stripped(ast.NodeTransformer):
    """Takes out what the machine does not run."""

    def visit_FunctionDef(self, node: ast.FunctionDef) -> ast.AST:
        self.generic_visit(node)
        node.returns = None
        node.body = node.body or [ast.Pass()]
        return node

    def visit_ClassDef(self, node: ast.ClassDef) -> ast.AST:
        self.generic_visit(node)
        node.body = [member for member in node.body if not _is_slots(member)] or [ast.Pass()]
        return node

    def visit_arg(self, node: ast.arg) -> ast.AST:
        node.annotation = None
        return node

    def visit_AnnAssign(self, node: ast.AnnAssign) -> ast.AST | None:
        return None if node.value is None else ast.Assign([node.target], node.value)

    def visit_Expr(self, node: ast.Expr) -> ast.AST | None:
        is_docstring = isinstance(node.value, ast.Constant) and isinstance(node.value.value, str)
        return None if is_docstring else node

    def visit_JoinedStr(self, node: ast.JoinedStr) -> ast.AST:
        return ast.Constant("refused")


def _is_slots(member: ast.stmt) -> bool:
    return isinstance(member, ast.Assign) and ast.unparse(member.targets[0]) == "__slots__"
