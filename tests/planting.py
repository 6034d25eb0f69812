"""Plants a mistake into a copy of the firmware: a part of a named method, found by its syntax.

Layout, comments and the place in the file don't matter; what must be there exactly once is the expression,
or the statements one after the other, within the class, method or function that is named.
"""

import ast
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

FIRMWARE = Path(__file__).resolve().parents[1] / "firmware"


@dataclass(frozen=True, slots=True)
class Mistake:
    """In `file` of firmware/, `inside` a "Class.method" or a function ("" for the module): `new` for `old`.

    Both are an expression, or statements; `new` may be "" to leave statements out.
    """

    file: str
    inside: str
    old: str
    new: str


class Misplaced(Exception):
    """What is to be replaced is not there exactly once."""


def planted(source: str, mistake: Mistake) -> str:
    """Return the source with the mistake in it; Misplaced if its text is not there exactly once."""
    tree = ast.parse(source)
    scope = _scope(tree, mistake)
    old, new = _statements(mistake.old), _statements(mistake.new)
    if len(old) == len(new) == 1 and isinstance(old[0], ast.Expr) and isinstance(new[0], ast.Expr):
        found = _replace_expression(scope, old[0].value, new[0].value)
    else:
        found = _replace_statements(scope, old, new)
    if found != 1:
        raise Misplaced(f"firmware/{mistake.file}, {mistake.inside} has {found} times: {mistake.old}")
    return ast.unparse(ast.fix_missing_locations(tree)) + "\n"


def plant(firmware: Path, mistake: Mistake) -> None:
    """Change a file of a copy of firmware/."""
    path = firmware / mistake.file
    path.write_text(planted(path.read_text(encoding="utf-8"), mistake), encoding="utf-8")


def misplaced(mistakes: list[Mistake]) -> list[str]:
    """Return what is wrong with the places of these mistakes, one after the other."""
    sources: dict[str, str] = {}
    wrong = []
    for mistake in mistakes:
        source = sources.setdefault(mistake.file, (FIRMWARE / mistake.file).read_text(encoding="utf-8"))
        try:
            sources[mistake.file] = planted(source, mistake)
        except Misplaced as error:
            wrong.append(str(error))
    return wrong


def _statements(text: str) -> list[ast.stmt]:
    return ast.parse(text).body


def _scope(tree: ast.Module, mistake: Mistake) -> ast.AST:
    scope: ast.AST = tree
    for name in mistake.inside.split(".") if mistake.inside else []:
        inner = [
            node
            for node in ast.iter_child_nodes(scope)
            if isinstance(node, ast.ClassDef | ast.FunctionDef) and node.name == name
        ]
        if len(inner) != 1:
            raise Misplaced(f"firmware/{mistake.file} has {len(inner)} times: {mistake.inside}")
        scope = inner[0]
    return scope


def _replace_expression(scope: ast.AST, old: ast.expr, new: ast.expr) -> int:
    wanted = ast.dump(old)
    found = 0
    for node in ast.walk(scope):
        for name, value in ast.iter_fields(node):
            if isinstance(value, ast.expr) and _same(value, wanted):
                setattr(node, name, new)
                found += 1
            elif isinstance(value, list):
                for index, item in enumerate(value):
                    if isinstance(item, ast.expr) and _same(item, wanted):
                        value[index] = new
                        found += 1
    return found


def _same(node: ast.expr, wanted: str) -> bool:
    return ast.dump(node) == wanted


def _replace_statements(scope: ast.AST, old: list[ast.stmt], new: list[ast.stmt]) -> int:
    wanted = [ast.dump(one) for one in old]
    found = 0
    for body in _bodies(scope):
        for first in range(len(body) - len(wanted) + 1):
            if [ast.dump(one) for one in body[first : first + len(wanted)]] == wanted:
                body[first : first + len(wanted)] = new or [ast.Pass()]
                found += 1
    return found


def _bodies(scope: ast.AST) -> Iterator[list[ast.stmt]]:
    for node in ast.walk(scope):
        for name in ("body", "orelse"):
            body = getattr(node, name, None)
            if isinstance(body, list):
                yield body
