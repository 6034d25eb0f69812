"""Checks that no expression depends on the evaluation order of its operands.

Python evaluates operands from left to right. C leaves the order open, and a compiler may choose any. So an
expression may contain one call that changes something, and nothing else in it may read what that call
changes. `and`, `or` and `a if b else c` have an order in both languages.
"""

import ast
from collections.abc import Iterator

from host_sim.forms.expressions import Expressions
from host_sim.forms.model import Effects, Function, Place, Program
from host_sim.forms.outside import outside


def find_effects(program: Program) -> None:
    """Compute what each function reads and writes, including the functions that it calls."""
    own = {
        label: _own_effects(program, function)
        for label, function in program.functions.items()
        if label in program.calls
    }
    program.effects = dict(own)
    changed = True
    while changed:
        changed = False
        for label in own:
            found = own[label]
            for called in program.calls[label]:
                found = found | program.effects[called]
            changed = changed or found != program.effects[label]
            program.effects[label] = found


def _own_effects(program: Program, function: Function) -> Effects:
    reads: set[Place] = set()
    writes: set[Place] = set()
    for node in ast.walk(ast.Module(function.body, [])):
        if isinstance(node, ast.Attribute) and id(node.value) in program.types:
            place = (program.types[id(node.value)].name, node.attr)
            stored = isinstance(node.ctx, ast.Store)
            (writes if stored else reads).add(place)
        target = node.target if isinstance(node, ast.AugAssign) else None
        if isinstance(target, ast.Attribute):
            reads.add((program.types[id(target.value)].name, target.attr))
        if isinstance(node, ast.Subscript) and isinstance(node.ctx, ast.Store):
            assert isinstance(node.value, ast.Attribute)
            writes.add((program.types[id(node.value.value)].name, node.value.attr))
    return Effects(frozenset(reads), frozenset(writes))


def check_order(program: Program, function: Function) -> None:
    """Refuse an expression whose value depends on the evaluation order of its operands."""
    for node in ast.walk(ast.Module(function.body, [])):
        if isinstance(node, ast.Compare) and len(node.ops) > 1:
            _check_chain(program, function, node)
        for left, right in _unordered(node):
            first, second = _effects_of(program, function, left), _effects_of(program, function, right)
            place = left if hasattr(left, "lineno") else right
            if first.writes and second.writes:
                sentence = "two calls that change something in one expression"
                raise outside(function.module.path, place, sentence)
            clash = (first.writes & second.reads) | (first.reads & second.writes)
            if clash:
                owner, field = min(clash)
                sentence = (
                    f"{owner}.{field} is read and changed in one expression, in an order that C leaves open"
                )
                raise outside(function.module.path, place, sentence)


def _check_chain(program: Program, function: Function, node: ast.Compare) -> None:
    """Refuse a chain of comparisons whose middle changes something: in C it would do so twice."""
    for middle in node.comparators[:-1]:
        if _effects_of(program, function, middle).writes:
            sentence = "a call that changes something within a chain of comparisons"
            raise outside(function.module.path, node, sentence)


def _unordered(node: ast.AST) -> Iterator[tuple[ast.expr, ast.expr]]:
    """Yield the pairs of operands of a node of which either may be evaluated first."""
    operands: list[ast.expr] = []
    if isinstance(node, ast.BinOp):
        operands = [node.left, node.right]
    elif isinstance(node, ast.Compare):
        operands = [node.left, *node.comparators]
    elif isinstance(node, ast.Call):
        operands = [node.func.value] if isinstance(node.func, ast.Attribute) else []
        operands += node.args
    elif isinstance(node, ast.Subscript):
        operands = [node.value, node.slice]
    elif isinstance(node, ast.AugAssign):
        operands = [node.target, node.value]
    elif isinstance(node, ast.Assign) and isinstance(node.targets[0], ast.Subscript):
        operands = [node.targets[0].slice, node.value]
    elif isinstance(node, ast.List):
        operands = node.elts
    for index, left in enumerate(operands):
        for right in operands[index + 1 :]:
            yield left, right


def _effects_of(program: Program, function: Function, expression: ast.expr) -> Effects:
    found = Effects()
    expressions = Expressions(program, function)
    for node in ast.walk(expression):
        if isinstance(node, ast.Attribute) and id(node.value) in program.types:
            found = found | Effects(frozenset({(program.types[id(node.value)].name, node.attr)}))
        if isinstance(node, ast.Call):
            called = None if _constructs(program, function, node) else expressions.called(node)
            if called is not None:
                found = found | program.effects[called.label]
    return found


def _constructs(program: Program, function: Function, node: ast.Call) -> bool:
    name = node.func.id if isinstance(node.func, ast.Name) else ""
    return program.class_named(function.module, name) is not None
