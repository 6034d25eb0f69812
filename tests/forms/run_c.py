"""Runs the helpers that Python has and C has not, as C does."""

import operator

from pycparser import c_ast

from tests.forms.meaning import NotRead


def computed(node: c_ast.FuncDef, *given: int) -> int:
    """Return what a helper computes, by C's own rules: division goes towards 0. Raises NotRead."""
    names = {one.name: value for one, value in zip(node.decl.type.args.params, given, strict=True)}
    signs = {"+": operator.add, "-": operator.sub, "*": operator.mul, "<": operator.lt, ">": operator.gt}
    signs |= {"<=": operator.le, ">=": operator.ge, "==": operator.eq, "!=": operator.ne}
    signs |= {"/": _quotient, "%": lambda one, other: one - other * _quotient(one, other)}

    def value(part: c_ast.Node) -> int:
        if isinstance(part, c_ast.Constant):
            return int(part.value, 0)
        if isinstance(part, c_ast.ID):
            return names[part.name]
        if isinstance(part, c_ast.TernaryOp):
            return value(part.iftrue) if value(part.cond) else value(part.iffalse)
        if isinstance(part, c_ast.UnaryOp) and part.op == "-":
            return -value(part.expr)
        if isinstance(part, c_ast.BinaryOp) and part.op in signs:
            return int(signs[part.op](value(part.left), value(part.right)))
        raise NotRead(f"{type(part).__name__} at {part.coord}")

    for item in node.body.block_items:
        if isinstance(item, c_ast.Decl):
            names[item.name] = value(item.init)
        elif isinstance(item, c_ast.Return):
            return value(item.expr)
        elif not (isinstance(item, c_ast.DoWhile) and not item.stmt.block_items):
            raise NotRead(f"{type(item).__name__} at {item.coord}")
    raise NotRead(f"no result at {node.coord}")


def _quotient(one: int, other: int) -> int:
    return abs(one) // abs(other) * (1 if (one < 0) == (other < 0) else -1)
