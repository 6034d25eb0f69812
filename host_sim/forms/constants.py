"""The values of module constants: ints, bools, strings, and tuples of them."""

import ast
import operator
from collections.abc import Callable
from typing import Any

from host_sim.forms.model import Module, Value
from host_sim.forms.outside import outside

_BINARY: dict[type[ast.operator], Callable[[Any, Any], Any]] = {
    ast.Add: operator.add,
    ast.Sub: operator.sub,
    ast.Mult: operator.mul,
    ast.FloorDiv: operator.floordiv,
    ast.Mod: operator.mod,
    ast.LShift: operator.lshift,
    ast.RShift: operator.rshift,
    ast.BitAnd: operator.and_,
    ast.BitOr: operator.or_,
    ast.BitXor: operator.xor,
}
LARGEST = (1 << 31) - 1


def value_of(module: Module, node: ast.expr, modules: dict[str, Module]) -> Value:
    """Return the value of an expression of constants; OutsideSubsetError if not constant or over 31 bits."""
    value = _value(module, node, modules)
    if isinstance(value, int) and not -LARGEST <= value <= LARGEST:
        raise outside(module.path, node, f"{value} does not fit 32 bits")
    return value


def _value(module: Module, node: ast.expr, modules: dict[str, Module]) -> Value:
    if isinstance(node, ast.Constant) and isinstance(node.value, bool | int | str):
        return node.value
    if isinstance(node, ast.Tuple):
        return tuple(_value(module, element, modules) for element in node.elts)
    if isinstance(node, ast.Name):
        return _named(module, node, modules)
    if isinstance(node, ast.UnaryOp) and isinstance(node.op, ast.USub):
        return -_whole(module, node.operand, modules)
    if isinstance(node, ast.BinOp) and type(node.op) in _BINARY:
        left, right = _whole(module, node.left, modules), _whole(module, node.right, modules)
        if isinstance(node.op, ast.FloorDiv | ast.Mod) and right <= 0:
            raise outside(module.path, node, f"divides by {right}")
        found: int = _BINARY[type(node.op)](left, right)
        return found
    raise outside(module.path, node, f"`{ast.unparse(node)}` is not a constant of the subset")


def _named(module: Module, node: ast.Name, modules: dict[str, Module]) -> Value:
    home, name = module.imports.get(node.id, (module.name, node.id))
    constants = module.constants if home == module.name else modules[home].constants
    if name not in constants:
        raise outside(module.path, node, f"{node.id} is not a known constant")
    return constants[name].value


def _whole(module: Module, node: ast.expr, modules: dict[str, Module]) -> int:
    value = _value(module, node, modules)
    if isinstance(value, int) and not isinstance(value, bool):
        return value
    raise outside(module.path, node, f"`{ast.unparse(node)}` is not an int")
