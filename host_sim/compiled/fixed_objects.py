"""Fields that always hold the same object: the compiler reads them without counting a reference.

A step of controller and bench reads some sixty such fields, and would count a reference up and down each
time. In the compiled copy a field is `Final` if `__init__` sets it to an object of a compiled class
and nothing else sets it. A local variable that is only another name for such a field (`world = self._world`)
is a reference too: there the field itself replaces it. The results stay the same.
"""

import ast
from collections import Counter
from collections.abc import Iterable, Iterator

from host_sim.compiled.native_types import Edit, changed, replaced

Fixed = dict[str, dict[str, str]]
"""Of each class the fields that hold one object for good, and the class of that object."""


def fixed_fields(texts: Iterable[str]) -> Fixed:
    """Return the fixed fields of all classes in `texts`, which must be all that is compiled."""
    trees = [ast.parse(text) for text in texts]
    kinds = [node for tree in trees for node in tree.body if isinstance(node, ast.ClassDef)]
    names = Counter(kind.name for kind in kinds)
    stored = {kind.name: Counter(node.attr for node in _stores(kind)) for kind in kinds}
    inherited = {ast.unparse(base) for kind in kinds for base in kind.bases}
    elsewhere = {node.attr for tree in trees for node in _stores(tree) if ast.unparse(node.value) != "self"}
    fixed: Fixed = {}
    for kind in kinds:
        bases = [ast.unparse(base) for base in kind.bases]
        if names[kind.name] > 1 or kind.name in inherited or not all(base in names for base in bases):
            continue
        given = {target.attr: of for target, of in _given(kind) if of in names}
        fixed[kind.name] = {
            field: of
            for field, of in given.items()
            if sum(stored[one][field] for one in (kind.name, *bases)) == 1 and field not in elsewhere
        }
    return fixed


def with_fixed_fields(text: str, fixed: Fixed) -> str:
    """Return a module's source with fixed fields made `Final` and their aliases replaced."""
    edits: list[Edit] = [
        (target.lineno - 1, target.end_col_offset or 0, 0, ": Final")
        for kind in _classes(text)
        for target, _ in _given(kind)
        if target.attr in fixed.get(kind.name, {})
    ]
    text = "\n".join(changed(text.splitlines(), edits)) + "\n"
    while edits:  # A name may be an alias of a field of another alias.
        edits = [edit for kind in _classes(text) for edit in _other_names(kind, fixed)]
        text = "\n".join(changed(text.splitlines(), edits)) + "\n"
    return text


def _classes(text: str) -> list[ast.ClassDef]:
    return [node for node in ast.parse(text).body if isinstance(node, ast.ClassDef)]


def _methods(kind: ast.ClassDef) -> list[ast.FunctionDef]:
    return [node for node in kind.body if isinstance(node, ast.FunctionDef)]


def _stores(tree: ast.AST) -> Iterator[ast.Attribute]:
    for node in ast.walk(tree):
        if isinstance(node, ast.Attribute) and not isinstance(node.ctx, ast.Load):
            yield node


def _given(kind: ast.ClassDef) -> Iterator[tuple[ast.Attribute, str]]:
    """Visit the fields that `__init__` sets to an object whose class is evident."""
    for method in _methods(kind):
        parameters = _parameters(method)
        for statement in method.body if method.name == "__init__" else ():
            if isinstance(statement, ast.Assign) and isinstance(statement.targets[0], ast.Attribute):
                value, alone = statement.value, len(statement.targets) == 1
                if alone and isinstance(value, ast.Name) and value.id in parameters:
                    yield statement.targets[0], parameters[value.id]
                elif alone and isinstance(value, ast.Call):
                    yield statement.targets[0], ast.unparse(value.func)


def _parameters(method: ast.FunctionDef) -> dict[str, str]:
    """Return the parameters that are never set, and their classes."""
    names = [node.id for node in ast.walk(method) if isinstance(node, ast.Name) and _is_set(node)]
    arguments = [one for one in method.args.args if one.annotation is not None and one.arg not in names]
    return {one.arg: ast.unparse(one.annotation) for one in arguments if one.annotation is not None}


def _is_set(node: ast.Name) -> bool:
    return not isinstance(node.ctx, ast.Load)


def _other_names(kind: ast.ClassDef, fixed: Fixed) -> Iterator[Edit]:
    """Yield edits that replace local variables which only alias fixed fields."""
    for method in _methods(kind):
        known = {**_parameters(method), "self": kind.name}
        times = Counter(node.id for node in ast.walk(method) if isinstance(node, ast.Name) and _is_set(node))
        in_texts = {
            node.id
            for text in ast.walk(method)
            if isinstance(text, ast.JoinedStr)  # Python 3.11 does not give the position of a name in it.
            for node in ast.walk(text)
            if isinstance(node, ast.Name)
        }
        for statement in ast.walk(method):
            target = statement.targets[0] if isinstance(statement, ast.Assign) else None
            if not isinstance(statement, ast.Assign) or not isinstance(target, ast.Name):
                continue
            if times[target.id] > 1 or target.id in in_texts or not _class_of(statement.value, known, fixed):
                continue
            yield replaced(statement, "pass")
            for node in ast.walk(method):
                if isinstance(node, ast.Name) and node.id == target.id and not _is_set(node):
                    yield replaced(node, ast.unparse(statement.value))


def _class_of(value: ast.expr, known: dict[str, str], fixed: Fixed) -> str:
    """Return the class of a fixed field, through others if necessary, or an empty text for anything else."""
    if not isinstance(value, ast.Attribute):
        return ""
    owner = value.value
    kind = known.get(owner.id, "") if isinstance(owner, ast.Name) else _class_of(owner, known, fixed)
    return fixed.get(kind, {}).get(value.attr, "")
