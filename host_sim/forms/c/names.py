"""Names in C: those of the sources, made unique, since C has one name space where Python has many."""

from host_sim.forms.model import Constant, Function, Program, Type

NUMBER = "int32_t"
TRUTH = "bool"


class Names:
    """The names of one program in C."""

    def __init__(self, program: Program) -> None:
        """Find constants that share a name; those also get the name of their module."""
        self._constants: dict[tuple[str, str], str] = {}
        plain: dict[str, list[Constant]] = {}
        for module in program.modules.values():
            for constant in module.constants.values():
                plain.setdefault(constant.name.lstrip("_"), []).append(constant)
        for name, constants in plain.items():
            for constant in constants:
                module_name = constant.module.name.rpartition(".")[2].upper()
                self._constants[constant.place] = name if len(constants) == 1 else f"{module_name}_{name}"

    def constant(self, constant: Constant) -> str:
        """Return the name of a constant."""
        return self._constants[constant.place]

    def function(self, function: Function) -> str:
        """Return the name of a function; a method's begins with its class, a constructor ends in `_init`."""
        if function.owner is None:
            return function.name
        name = "init" if function.is_constructor else function.name.lstrip("_")
        return f"{function.owner.name}_{name}"


def declared(found: Type, name: str, constant: bool = False) -> str:
    """Return the declaration of a variable, parameter or result; objects are pointers.

    `constant`: the class is one of values, which are only read.
    """
    if found.kind == "object":
        return f"{'const ' if constant else ''}{found.name} *{name}"
    kind = {"int": NUMBER, "bool": TRUTH, "none": "void"}[found.kind]
    return f"{kind} {name}"
