"""The function headers in C, and which constructors may refuse their arguments."""

import ast

from host_sim.forms.c.names import Names, declared
from host_sim.forms.model import Function, Program


def may_refuse(program: Program, function: Function) -> bool:
    """Whether a constructor may raise, or one that it calls; in C it then returns whether it succeeded.

    The root's constructor checks its settings first, so it may refuse too.
    """
    if not function.is_constructor:
        return False
    if function.owner is program.root:
        return True
    raises = any(isinstance(node, ast.Raise) for node in ast.walk(function.node))
    called = [program.functions[label] for label in program.calls[function.label]]
    return raises or any(may_refuse(program, one) for one in called)


def head_of(program: Program, names: Names, function: Function) -> str:
    """Return result, name and parameters of a function."""
    parameters = [f"{function.owner.name} *self"] if function.owner is not None else []
    for name, found in function.parameters.items():
        constant = found.kind == "object" and program.classes[found.name].declared
        parameters.append(declared(found, name, constant))
    text = f"{names.function(function)}({', '.join(parameters) or 'void'})"
    if may_refuse(program, function):
        return f"bool {text}"
    return declared(function.returns, text)
