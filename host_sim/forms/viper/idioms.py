"""Functions that have a shorter form: sign extension of a masked difference."""

import ast

from host_sim.forms.model import Function, Program


def signed_part(program: Program, function: Function) -> tuple[ast.expr, int] | None:
    """Return the masked expression and the weight of the sign bit; None for any other function.

    That is the shape of `ticks_diff_us`: `d = value & 2 * half - 1`, then `d`, or where that is `half` or
    more `d - half - half`, in two steps so that each fits a small int. `(value & mask ^ half) - half`
    is the same, takes a third of the machine code and stays as small.
    """
    body = function.body
    if len(body) != 3 or not isinstance(body[0], ast.Assign) or not isinstance(body[1], ast.If):
        return None
    masked = body[0].value
    if not isinstance(masked, ast.BinOp) or not isinstance(masked.op, ast.BitAnd):
        return None
    mask = _known(program, function, masked.right)
    half = (mask + 1) // 2
    if mask < 1 or mask & (mask + 1) != 0 or not isinstance(body[1].test, ast.Compare):
        return None
    limit = body[1].test.comparators[0]
    name, at = ast.unparse(body[0].targets[0]), ast.unparse(limit)
    wanted = f"if {name} >= {at}:\n    return {name} - {at} - {at}\nreturn {name}"
    found = f"{ast.unparse(body[1])}\n{ast.unparse(body[2])}"
    return (masked, half) if found == wanted and _known(program, function, limit) == half else None


def _known(program: Program, function: Function, node: ast.expr) -> int:
    """Return the value of a literal or a constant, 0 for anything else."""
    value: object = node.value if isinstance(node, ast.Constant) else 0
    if isinstance(node, ast.Name):
        constant = program.constant(function.module, node.id)
        value = constant.value if constant is not None else 0
    return value if isinstance(value, int) else 0
