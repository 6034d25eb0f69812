"""Works a formula out on numbers: one Python function for all terms, each computed once."""

from collections.abc import Callable
from typing import Any

from host_sim.proof.whole.terms import Term, in_order

Evaluation = Callable[[dict[str, int | bool]], list[int | bool]]
_INFIX = {"add": "+", "sub": "-", "mul": "*", "lt": "<", "eq": "==", "iff": "==", "mod": "%"}


def compiled(roots: list[Any]) -> Evaluation:
    """Return a function from the variables' numbers by name to the numbers of `roots`."""
    lines = ["def work_out(v):"]
    for term in in_order(roots):
        lines.append(f"    t{term.number} = {_expression(term)}")
    lines.append(f"    return [{', '.join(_name(root) for root in roots)}]")
    names: dict[str, Any] = {}
    exec(compile("\n".join(lines), "<formula>", "exec"), names)
    function: Evaluation = names["work_out"]
    return function


def _name(value: Any) -> str:
    return f"t{value.number}" if isinstance(value, Term) else repr(value)


def _expression(term: Term) -> str:
    args = [_name(arg) for arg in term.args]
    if term.op == "var":
        return f"v[{term.args[0]!r}]"
    if term.op == "div":
        # Where another way is taken the divisor may be anything: the result is not used then.
        return f"{args[0]} // {args[1]} if {args[1]} > 0 else 0"
    if term.op == "choose":
        return f"{args[1]} if {args[0]} else {args[2]}"
    if term.op == "bits":
        return " + ".join(f"({arg}) * {1 << place}" for place, arg in enumerate(args))
    if term.op == "narrow":
        return args[0]
    if term.op == "not":
        return f"not {args[0]}"
    if term.op == "and":
        return f"{args[0]} and {args[1]}"
    return f"{args[0]} {_INFIX[term.op]} {args[1]}"
