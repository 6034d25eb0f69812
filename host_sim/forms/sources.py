"""From files to modules: syntax trees, comments, imports, constants, and other module-level statements."""

import ast
import io
import tokenize
from pathlib import Path

from host_sim.forms.constants import value_of
from host_sim.forms.model import NONE, Class, Constant, Function, Module
from host_sim.forms.outside import OutsideSubsetError, outside
from host_sim.forms.tables import type_of_value


def read_modules(folder: Path, name: str) -> dict[str, Module]:
    """Return the module `name` of the sources in `folder` and all that it imports, each after its imports."""
    modules: dict[str, Module] = {}
    _read(folder, name, modules, [])
    return modules


def _read(folder: Path, name: str, modules: dict[str, Module], importers: list[str]) -> None:
    path = folder / (name.replace(".", "/") + ".py")
    if name in importers:
        raise OutsideSubsetError(f"{path}:1: {name} imports itself through {importers[-1]}")
    if not path.is_file():
        raise OutsideSubsetError(f"{path}:1: this file, imported by {importers[-1]}, does not exist")
    text = path.read_text(encoding="utf-8")
    module = Module(name, path, text, ast.parse(text), _comments(text))
    for statement in module.tree.body:
        if isinstance(statement, ast.ImportFrom):
            _import(module, statement)
            source = statement.module or ""
            if source not in modules:
                _read(folder, source, modules, [*importers, name])
    modules[name] = module
    for statement in module.tree.body:
        _take(module, statement, modules)


def _import(module: Module, statement: ast.ImportFrom) -> None:
    package = module.name.split(".")[0]
    if statement.level or (statement.module or "").split(".")[0] != package:
        raise outside(module.path, statement, f"only names of {package} may be imported")
    for alias in statement.names:
        if alias.asname is not None or alias.name == "*":
            raise outside(module.path, statement, "import names one by one, without renaming")
        module.imports[alias.name] = (statement.module or "", alias.name)


def _take(module: Module, statement: ast.stmt, modules: dict[str, Module]) -> None:
    """Read one statement at module level."""
    if isinstance(statement, ast.ImportFrom) or _is_text(statement):
        return
    if isinstance(statement, ast.FunctionDef):
        module.functions[statement.name] = Function(statement.name, module, None, statement, {}, NONE)
    elif isinstance(statement, ast.ClassDef):
        module.classes[statement.name] = _class(module, statement)
    elif isinstance(statement, ast.Assign | ast.AnnAssign):
        _take_constant(module, statement, modules)
    else:
        raise outside(module.path, statement, f"{_word(statement)} at module level is not in the subset")


def _take_constant(module: Module, statement: ast.Assign | ast.AnnAssign, modules: dict[str, Module]) -> None:
    target = statement.targets[0] if isinstance(statement, ast.Assign) else statement.target
    single = isinstance(statement, ast.AnnAssign) or len(statement.targets) == 1
    if not isinstance(target, ast.Name) or not single or statement.value is None:
        raise outside(module.path, statement, "a constant is one name with one value")
    if target.id in module.constants:
        raise outside(module.path, statement, f"the constant {target.id} is given a second value")
    value = value_of(module, statement.value, modules)
    constant_type = type_of_value(value)
    module.constants[target.id] = Constant(target.id, module, value, constant_type, statement)


def _class(module: Module, node: ast.ClassDef) -> Class:
    if node.bases or node.keywords or node.decorator_list:
        raise outside(module.path, node, f"the class {node.name} has a base or a decorator")
    kind = Class(node.name, module, node)
    for statement in node.body:
        if isinstance(statement, ast.FunctionDef):
            kind.methods[statement.name] = Function(statement.name, module, kind, statement, {}, NONE)
        elif isinstance(statement, ast.AnnAssign) and statement.value is None:
            kind.declared = True
        elif not (_is_text(statement) or _is_slots(statement)):
            raise outside(module.path, statement, f"{_word(statement)} in a class body is not in the subset")
    return kind


def _is_text(statement: ast.stmt) -> bool:
    is_constant = isinstance(statement, ast.Expr) and isinstance(statement.value, ast.Constant)
    return is_constant and isinstance(statement.value.value, str)  # type: ignore[attr-defined]


def _is_slots(statement: ast.stmt) -> bool:
    return isinstance(statement, ast.Assign) and ast.unparse(statement.targets[0]) == "__slots__"


def _word(statement: ast.stmt) -> str:
    return f"`{ast.unparse(statement).splitlines()[0]}`"


def _comments(text: str) -> dict[int, tuple[str, bool]]:
    found: dict[int, tuple[str, bool]] = {}
    for token in tokenize.generate_tokens(io.StringIO(text).readline):
        if token.type == tokenize.COMMENT:
            alone = token.line[: token.start[1]].strip() == ""
            found[token.start[0]] = (token.string.lstrip("#").strip(), alone)
    return found
