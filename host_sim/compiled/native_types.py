"""Adds type annotations for the compiler to the copy of a source file.

MicroPython has neither `typing` nor fixed-width integers, so the firmware can't have the annotations that the
compiler needs. The copy has them; the code stays the same, line by line:

* a module constant is `Final`: it is compiled in instead of being looked up in a dictionary every time;
* `int` becomes `i64` for parameters, results, fields and local variables that begin with a whole number. That
  is safe for what is proved (every result of the firmware fits 31 bits, `host_sim/proof`) and for times in
  microseconds, which reach 2**63 after 292,000 years; the equal-traces tests watch it;
* a private field that is set to a list of equal numbers and only ever indexed becomes a vector of machine
  numbers (`librt.vecs`), if the compiler has them: to the code it looks like a list;
* `abs(x)` is replaced by a comparison, since the compiler's `abs` does not support `i64`;
* a class that interpreted code derives from is marked so.
"""

import ast
from collections.abc import Iterable, Iterator

# An edit: line and column (from 0), how many characters are replaced, and by what.
Edit = tuple[int, int, int, str]
OPEN_CLASSES = frozenset({"Event", "PlantWatch", "Probe", "Script", "StepWatch"})
_MARK = "@mypyc_attr(allow_interpreted_subclasses=True)"
_IMPORTS = "from typing import Final; from mypy_extensions import i64, mypyc_attr"
_VECTORS = "; from librt.vecs import vec"


def whole_constants(texts: Iterable[str]) -> frozenset[str]:
    """Return the names of all module constants in `texts` that are whole numbers wherever they occur."""
    whole: set[str] = set()
    other: set[str] = set()
    for text in texts:
        for name, _, value in _constants(ast.parse(text)):
            (whole if _is_whole(value, frozenset(whole)) else other).add(name)
    return frozenset(whole - other)


def annotated(text: str, whole: frozenset[str], vectors: bool = False) -> str:
    """Return a module's source with the annotations; `whole` names the constants that are whole numbers.

    With `vectors` the compiler knows `librt.vecs`. One line is added below the module's docstring.
    """
    tree = ast.parse(text)
    edits: list[Edit] = []
    for _, target, _ in _constants(tree):
        edits.append((target.lineno - 1, target.end_col_offset or 0, 0, ": Final"))
    for statement in tree.body:
        if isinstance(statement, ast.AnnAssign) and _is_constant(statement.target):
            edits.append(_around(statement.annotation, "Final[", "]"))
    for node in ast.walk(tree):
        if isinstance(node, ast.FunctionDef):
            edits += _signature(node)
            edits += _first_values(node.args, _locals(node.body), whole)
        elif isinstance(node, ast.ClassDef):
            edits += _fields(node, whole)
            edits += _vectors(node, whole) if vectors else []
    edits += _absolutes(tree, text)
    lines = changed(text.splitlines(), edits)
    head = _head(tree)
    imports = _IMPORTS + (_VECTORS if vectors else "")
    return "\n".join([*lines[:head], imports, *_marked(tree, lines)[head:]]) + "\n"


def _constants(tree: ast.Module) -> list[tuple[str, ast.Name, ast.expr]]:
    """Return name, target and value of every unannotated constant that a module assigns once."""
    found = [
        (statement.targets[0].id, statement.targets[0], statement.value)
        for statement in tree.body
        if isinstance(statement, ast.Assign) and isinstance(statement.targets[0], ast.Name)
    ]
    names = [name for name, _, _ in found]
    return [one for one in found if _is_constant(one[1]) and names.count(one[0]) == 1]


def _is_constant(target: ast.expr) -> bool:
    return isinstance(target, ast.Name) and target.id.lstrip("_").isupper()


def _is_whole(value: ast.expr, whole: frozenset[str]) -> bool:
    """Whether an expression is certainly a whole number: literals and constants, added, shifted, chosen."""
    if isinstance(value, ast.Constant):
        return type(value.value) is int
    if isinstance(value, ast.Name):
        return value.id in whole
    if isinstance(value, ast.UnaryOp):
        return isinstance(value.op, ast.USub | ast.Invert) and _is_whole(value.operand, whole)
    if isinstance(value, ast.BinOp):
        divides = isinstance(value.op, ast.Div | ast.Pow)
        return not divides and _is_whole(value.left, whole) and _is_whole(value.right, whole)
    return isinstance(value, ast.IfExp) and _is_whole(value.body, whole) and _is_whole(value.orelse, whole)


def _is_int(annotation: ast.expr | None) -> bool:
    return isinstance(annotation, ast.Name) and annotation.id == "int"


def replaced(node: ast.expr | ast.stmt, text: str) -> Edit:
    """Return the edit that replaces an expression or a statement on one line with `text`."""
    return (node.lineno - 1, node.col_offset, (node.end_col_offset or 0) - node.col_offset, text)


def _around(node: ast.expr, before: str, after: str) -> Edit:
    return replaced(node, before + ast.unparse(node) + after)


def _signature(function: ast.FunctionDef) -> list[Edit]:
    arguments = function.args.args + function.args.kwonlyargs
    annotations = [argument.annotation for argument in arguments] + [function.returns]
    return [replaced(one, "i64") for one in annotations if one is not None and _is_int(one)]


def _locals(body: list[ast.stmt]) -> Iterator[ast.stmt]:
    """Visit a function's statements in source order, without inner functions."""
    for statement in body:
        yield statement
        if not isinstance(statement, ast.FunctionDef | ast.ClassDef):
            for part in ("body", "orelse", "handlers", "finalbody"):
                yield from _locals(getattr(statement, part, []))


def _first_values(
    arguments: ast.arguments, statements: Iterator[ast.stmt], whole: frozenset[str]
) -> list[Edit]:
    """Annotate the local variables whose first value is a whole number."""
    seen = {argument.arg for argument in arguments.args + arguments.kwonlyargs}
    edits: list[Edit] = []
    for statement in statements:
        target = statement.targets[0] if isinstance(statement, ast.Assign) else None
        if isinstance(statement, ast.Assign) and isinstance(target, ast.Name):
            alone = len(statement.targets) == 1 and target.id not in seen
            if alone and _is_whole(statement.value, whole):
                edits.append((target.lineno - 1, target.end_col_offset or 0, 0, ": i64"))
        heads = [getattr(statement, part, None) for part in ("target", "targets", "names", "items")]
        for head in heads:
            for one in head if isinstance(head, list) else [head]:
                if isinstance(one, ast.AST):
                    seen.update(node.id for node in ast.walk(one) if isinstance(node, ast.Name))
    return edits


def _fields(kind: ast.ClassDef, whole: frozenset[str]) -> list[Edit]:
    """Annotate the fields of a class that are declared `int` or whose first value is a whole number."""
    edits = [
        replaced(one.annotation, "i64")
        for one in ast.walk(kind)
        if isinstance(one, ast.AnnAssign) and _is_int(one.annotation)
    ]
    seen: set[str] = set()
    for method in kind.body:
        for statement in _locals(method.body) if isinstance(method, ast.FunctionDef) else ():
            targets = statement.targets if isinstance(statement, ast.Assign) else []
            if isinstance(statement, ast.AnnAssign):
                targets = [statement.target]
            for target in targets:
                if not isinstance(target, ast.Attribute) or ast.unparse(target.value) != "self":
                    continue
                first = target.attr not in seen
                seen.add(target.attr)
                if not isinstance(statement, ast.Assign) or len(targets) > 1 or not first:
                    continue
                if _is_whole(statement.value, whole):
                    edits.append((target.lineno - 1, target.end_col_offset or 0, 0, ": i64"))
    return edits


def _vectors(kind: ast.ClassDef, whole: frozenset[str]) -> list[Edit]:
    """Make vectors of the private fields `[number] * count` that are only ever indexed."""
    indexed = [ast.unparse(node.value) for node in ast.walk(kind) if isinstance(node, ast.Subscript)]
    mentioned = [ast.unparse(node) for node in ast.walk(kind) if isinstance(node, ast.Attribute)]
    edits = []
    for node in ast.walk(kind):
        value = node.value if isinstance(node, ast.Assign) else None
        if not isinstance(node, ast.Assign) or not isinstance(value, ast.BinOp):
            continue
        field = ast.unparse(node.targets[0])
        if not field.startswith("self._") or not isinstance(value.op, ast.Mult):
            continue
        number = _number_of(value.left, whole)
        if number and mentioned.count(field) == indexed.count(field) + 1:
            edits.append(_around(value, f"vec[{number}](", ")"))
    return edits


def _number_of(value: ast.expr, whole: frozenset[str]) -> str:
    """Return the machine type of the one number in a list, or nothing if it is not known."""
    if not isinstance(value, ast.List) or len(value.elts) != 1:
        return ""
    number = value.elts[0]
    if isinstance(number, ast.Constant) and isinstance(number.value, float):
        return "float"
    return "i64" if _is_whole(number, whole) else ""


def _absolutes(tree: ast.Module, text: str) -> list[Edit]:
    """Replace `abs` in a module without floats, if its argument is cheap to evaluate three times."""
    floats = any(isinstance(node, ast.Constant) and isinstance(node.value, float) for node in ast.walk(tree))
    if floats:
        return []
    edits = []
    for node in ast.walk(tree):
        if isinstance(node, ast.Call) and isinstance(node.func, ast.Name) and node.func.id == "abs":
            argument = ast.get_source_segment(text, node.args[0]) or ""
            edits.append(replaced(node, f"(({argument}) if ({argument}) >= 0 else -({argument}))"))
    return edits


def changed(lines: list[str], edits: list[Edit]) -> list[str]:
    """Apply the edits from the last to the first, so that earlier places stay valid."""
    lines = list(lines)
    for line, column, length, text in sorted(set(edits), reverse=True):
        # Columns count bytes in UTF-8.
        before = lines[line].encode()
        lines[line] = (before[:column] + text.encode() + before[column + length :]).decode()
    return lines


def _head(tree: ast.Module) -> int:
    """Return how many lines the module's docstring takes; the imports go below."""
    first = tree.body[0] if tree.body else None
    is_docstring = isinstance(first, ast.Expr) and isinstance(first.value, ast.Constant)
    return (first.end_lineno or 0) if first is not None and is_docstring else 0


def _marked(tree: ast.Module, lines: list[str]) -> list[str]:
    """Mark the open classes, on the blank line before them."""
    lines = list(lines)
    for node in tree.body:
        if isinstance(node, ast.ClassDef) and node.name in OPEN_CLASSES:
            lines[node.lineno - 2] = _MARK
    return lines
