"""Reads the sources of a class and of everything that it needs, and checks that they are in the subset."""

import ast
from pathlib import Path

from host_sim.forms.effects import check_order, find_effects
from host_sim.forms.expressions import Expressions, NotYetKnown, annotated_type
from host_sim.forms.model import NONE, Class, Field, Function, Program
from host_sim.forms.outside import OutsideSubsetError, outside
from host_sim.forms.sources import read_modules
from host_sim.forms.statements import Statements

ROOT = Path(__file__).resolve().parents[2]
NAMES_OF_C = frozenset(
    (
        "auto", "bool", "break", "case", "char", "const", "continue", "default", "do", "double", "else",
        "enum", "extern", "false", "float", "for", "goto", "if", "inline", "int", "long", "register",
        "restrict", "return", "short", "signed", "sizeof", "static", "struct", "switch", "true", "typedef",
        "union", "unsigned", "void", "volatile", "while",
    )
)  # fmt: skip


def read_firmware() -> Program:
    """Return the firmware's controller and everything that its step needs."""
    return read_program(ROOT, "firmware.controller", "Controller")


def read_program(folder: Path, module: str, root: str) -> Program:
    """Return the class `root` of `module` and everything that it needs, from the sources in `folder`.

    OutsideSubsetError names file and line of anything that README.md does not list.
    """
    modules = read_modules(folder, module)
    program = Program(modules[module].classes[root], modules)
    _take_signatures(program)
    translated = [one for one in program.functions.values() if not (one.owner and one.owner.declared)]
    _find_types(program, translated)
    for function in translated:
        _check_names(function)
        _check_ends(function)
        program.calls[function.label] = _calls(program, function)
    _check_recursion(program)
    find_effects(program)
    for function in translated:
        check_order(program, function)
    _check_slots(program)
    return program


def _take_signatures(program: Program) -> None:
    """Read the annotations of parameters, results and declared fields."""
    names: dict[str, Class] = {}
    for module in program.modules.values():
        for kind in module.classes.values():
            if kind.name in names:
                raise outside(module.path, kind.node, f"there are two classes {kind.name}")
            names[kind.name] = kind
            if kind.declared:
                _take_declared(program, kind)
    for function in program.functions.values():
        if function.owner is None or not function.owner.declared:
            _take_signature(program, function)


def _take_declared(program: Program, kind: Class) -> None:
    constructor = kind.methods["__init__"]
    for statement in kind.node.body:
        if isinstance(statement, ast.AnnAssign):
            name = ast.unparse(statement.target)
            found = annotated_type(program, constructor, statement.annotation, name)
            if found.kind not in ("int", "bool"):
                raise outside(kind.module.path, statement, f"{name} must be int or bool")
            kind.fields[name] = Field(name, found, False, statement)
    kind.methods = {}


def _take_signature(program: Program, function: Function) -> None:
    node = function.node
    arguments = node.args
    plain = not (arguments.vararg or arguments.kwarg or arguments.kwonlyargs or arguments.defaults)
    if node.decorator_list or arguments.posonlyargs or not plain:
        raise outside(function.module.path, node, f"{function.label} has a decorator, a default or a star")
    given = arguments.args
    if function.owner is not None:
        if not given or given[0].arg != "self":
            raise outside(function.module.path, node, f"{function.label} is not a method with self")
        given = given[1:]
    for argument in given:
        found = annotated_type(program, function, argument.annotation, f"the parameter {argument.arg}")
        if found == NONE:
            raise outside(function.module.path, node, f"the parameter {argument.arg} can't be None")
        function.parameters[argument.arg] = found
    function.returns = annotated_type(program, function, node.returns, "the result")


def _find_types(program: Program, functions: list[Function]) -> None:
    """Type all functions repeatedly until no new type of a field or variable is found."""
    before = -1
    missing: list[str] = [""]
    while missing:
        missing = []
        for function in sorted(functions, key=lambda one: not one.is_constructor):
            try:
                Statements(program, function).take_all(function.body)
            except NotYetKnown as reason:
                missing.append(str(reason))
        known = sum(len(kind.fields) for kind in program.classes.values())
        if missing and known == before:
            raise OutsideSubsetError(missing[0])
        before = known


def _calls(program: Program, function: Function) -> set[str]:
    """Return the labels of the functions that a function calls, constructors included."""
    found: set[str] = set()
    expressions = Expressions(program, function)
    for node in ast.walk(ast.Module(function.body, [])):
        if not isinstance(node, ast.Call) or ast.unparse(node.func) in ("ValueError", "range"):
            continue
        name = node.func.id if isinstance(node.func, ast.Name) else ""
        kind = program.class_named(function.module, name)
        called = kind.methods["__init__"] if kind is not None else expressions.called(node)
        if called is not None:
            found.add(called.label)
    return found


def _check_names(function: Function) -> None:
    """Refuse names that mean something else in C."""
    for name in (*function.parameters, *function.locals):
        if name in NAMES_OF_C:
            sentence = f"{name} in {function.label} is a reserved word of C"
            raise outside(function.module.path, function.node, sentence)


def _check_ends(function: Function) -> None:
    """Refuse a function that may end without its result."""
    if function.returns != NONE and not _always_returns(function.body):
        raise outside(function.module.path, function.node, f"{function.label} may end without a result")


def _always_returns(statements: list[ast.stmt]) -> bool:
    last = statements[-1]
    if isinstance(last, ast.If):
        return bool(last.orelse) and _always_returns(last.body) and _always_returns(last.orelse)
    return isinstance(last, ast.Return)


def _check_recursion(program: Program) -> None:
    for label, function in program.functions.items():
        if function in program.reached(sorted(program.calls.get(label, ()))):
            sentence = f"{label} calls itself, directly or indirectly"
            raise outside(function.module.path, function.node, sentence)


def _check_slots(program: Program) -> None:
    """Refuse a class whose `__slots__` are not its fields."""
    for kind in program.classes.values():
        for statement in kind.node.body:
            if isinstance(statement, ast.Assign) and isinstance(statement.value, ast.Tuple):
                slots = {ast.literal_eval(element) for element in statement.value.elts}
                if slots != set(kind.fields):
                    odd = min(slots ^ set(kind.fields))
                    sentence = f"{odd} is a slot or a field of {kind.name}, not both"
                    raise outside(kind.module.path, statement, sentence)
