"""The types of expressions, and which expressions the subset has."""

import ast

from host_sim.forms.model import BOOL, INT, NONE, TEXT, Class, Function, Program, Type
from host_sim.forms.outside import OutsideSubsetError, outside

OPERATORS: dict[type[ast.operator], str] = {
    ast.Add: "+",
    ast.Sub: "-",
    ast.Mult: "*",
    ast.FloorDiv: "//",
    ast.Mod: "%",
    ast.LShift: "<<",
    ast.RShift: ">>",
    ast.BitAnd: "&",
    ast.BitOr: "|",
    ast.BitXor: "^",
}
"""The arithmetic of the subset, with its signs in Python."""
COMPARISONS: dict[type[ast.cmpop], str] = {
    ast.Lt: "<",
    ast.LtE: "<=",
    ast.Gt: ">",
    ast.GtE: ">=",
    ast.Eq: "==",
    ast.NotEq: "!=",
}
"""The comparisons of the subset, with their signs in Python and in C."""
EQUALITY = (ast.Eq, ast.NotEq)
SHIFT_MAX = 30
BUILT_IN = {"abs": (1, 1), "min": (2, 3), "max": (2, 3), "len": (1, 1)}
"""Functions of the language that the subset has: the least and the largest number of arguments."""


class NotYetKnown(Exception):
    """A type depends on a field whose type has not been found yet."""


class Expressions:
    """Types expressions inside one function and writes them down in the program."""

    def __init__(self, program: Program, function: Function) -> None:
        """Type the expressions of `function`; its local variables are found on the way."""
        self.program = program
        self.function = function
        self.module = function.module

    def refuse(self, node: ast.AST, sentence: str) -> OutsideSubsetError:
        """Return the refusal of a node of this function."""
        return outside(self.module.path, node, sentence)

    def typed(self, node: ast.expr) -> Type:
        """Return the type of an expression; OutsideSubsetError if it is not in the subset."""
        found = self._typed(node)
        self.program.types[id(node)] = found
        return found

    def condition(self, node: ast.expr) -> None:
        """Type an expression that is used as a condition: a whole number is true unless it is 0."""
        if isinstance(node, ast.BoolOp):
            for value in node.values:
                self.condition(value)
            self.program.types[id(node)] = BOOL
        elif isinstance(node, ast.UnaryOp) and isinstance(node.op, ast.Not):
            self.condition(node.operand)
            self.program.types[id(node)] = BOOL
        elif self.typed(node) not in (BOOL, INT):
            raise self.refuse(node, f"`{ast.unparse(node)}` is neither a bool nor an int")

    def wanted(self, node: ast.expr, *kinds: Type) -> Type:
        """Return the type of an expression, which must be one of `kinds`."""
        found = self.typed(node)
        if found not in kinds:
            words = " or ".join(map(str, kinds))
            raise self.refuse(node, f"`{ast.unparse(node)}` is {found} and must be {words}")
        return found

    def object_class(self, node: ast.expr) -> Class:
        """Return the class of an expression that is an object."""
        found = self.typed(node)
        if found.kind != "object":
            raise self.refuse(node, f"`{ast.unparse(node)}` is not an object")
        return self.program.classes[found.name]

    def _typed(self, node: ast.expr) -> Type:
        if isinstance(node, ast.Constant):
            return self._constant(node)
        if isinstance(node, ast.Name):
            return self._name(node)
        if isinstance(node, ast.Attribute):
            return self.field_type(node)
        if isinstance(node, ast.BinOp):
            return self.computed(node, node.op, node.left, node.right)
        if isinstance(node, ast.UnaryOp):
            return self._unary(node)
        if isinstance(node, ast.BoolOp):
            for value in node.values:
                self.wanted(value, BOOL)
            return BOOL
        if isinstance(node, ast.Compare):
            return self._comparison(node)
        if isinstance(node, ast.IfExp):
            return self._choice(node)
        if isinstance(node, ast.Subscript):
            return self._element(node)
        if isinstance(node, ast.Call):
            return self._call(node)
        raise self.refuse(node, f"`{ast.unparse(node)}` is not in the subset")

    def _constant(self, node: ast.Constant) -> Type:
        if isinstance(node.value, bool):
            return BOOL
        if isinstance(node.value, int):
            if node.value >= 1 << 31:
                raise self.refuse(node, f"{node.value} does not fit 32 bits")
            return INT
        raise self.refuse(node, f"`{ast.unparse(node)}` is neither an int nor a bool")

    def _name(self, node: ast.Name) -> Type:
        owner = self.function.owner
        if node.id == "self" and owner is not None:
            return Type("object", owner.name)
        for known in (self.function.locals, self.function.parameters):
            if node.id in known:
                return known[node.id]
        constant = self.program.constant(self.module, node.id)
        if constant is None:
            raise self.refuse(node, f"{node.id} has no value here")
        return constant.type

    def field_type(self, node: ast.Attribute) -> Type:
        """Return the type of a field; NotYetKnown if nothing is assigned to it yet."""
        kind = self.object_class(node.value)
        if node.attr not in kind.fields:
            if node.attr in kind.methods:
                raise self.refuse(node, f"the method {kind.name}.{node.attr} is not called")
            raise NotYetKnown(f"{self.module.path}:{node.lineno}: {kind.name} has no field {node.attr}")
        return kind.fields[node.attr].type

    def computed(self, node: ast.AST, sign: ast.operator, left: ast.expr, right: ast.expr) -> Type:
        """Return the type of `left sign right`, the value of `node` or what it assigns."""
        if type(sign) not in OPERATORS:
            raise self.refuse(node, f"`{ast.unparse(node)}` computes what the subset has not")
        self.wanted(left, INT)
        self.wanted(right, INT)
        amount = self.known_value(right)
        if isinstance(sign, ast.FloorDiv | ast.Mod) and amount is not None and amount <= 0:
            raise self.refuse(node, f"divides by {amount}, allowed is a positive divisor")
        shifts = isinstance(sign, ast.LShift | ast.RShift) and amount is not None
        if shifts and amount not in range(SHIFT_MAX + 1):
            raise self.refuse(node, f"shifts by {amount}, allowed is 0 to {SHIFT_MAX}")
        return INT

    def known_value(self, node: ast.expr) -> int | None:
        """Return the value of a literal or a constant, None for anything else."""
        if isinstance(node, ast.Constant) and isinstance(node.value, int):
            return int(node.value)
        if isinstance(node, ast.UnaryOp) and isinstance(node.op, ast.USub):
            value = self.known_value(node.operand)
            return None if value is None else -value
        if isinstance(node, ast.Name) and node.id not in self.function.locals:
            constant = self.program.constant(self.module, node.id)
            if constant is not None and constant.type == INT and isinstance(constant.value, int):
                return constant.value
        return None

    def _unary(self, node: ast.UnaryOp) -> Type:
        if isinstance(node.op, ast.Not):
            self.condition(node.operand)
            return BOOL
        if not isinstance(node.op, ast.USub):
            raise self.refuse(node, f"`{ast.unparse(node)}` is not in the subset")
        return self.wanted(node.operand, INT)

    def _comparison(self, node: ast.Compare) -> Type:
        first = self.wanted(node.left, INT, BOOL)
        for sign, right in zip(node.ops, node.comparators, strict=True):
            kinds = (first,) if isinstance(sign, EQUALITY) else (INT,)
            if type(sign) not in COMPARISONS or first not in kinds:
                raise self.refuse(node, f"`{ast.unparse(node)}` compares what the subset does not")
            self.wanted(right, *kinds)
        return BOOL

    def _choice(self, node: ast.IfExp) -> Type:
        self.condition(node.test)
        found = self.wanted(node.body, INT, BOOL)
        self.wanted(node.orelse, found)
        return found

    def _element(self, node: ast.Subscript) -> Type:
        whole = self.typed(node.value)
        self.wanted(node.slice, INT)
        if whole.kind == "numbers":
            return INT
        if (
            whole.kind != "table"
            or whole.name not in ("int", "bool")
            or "self" in ast.unparse(node.value)[:4]
        ):
            raise self.refuse(node, f"`{ast.unparse(node.value)}` can't be indexed")
        return Type("table", whole.name, whole.dims[1:]) if len(whole.dims) > 1 else Type(whole.name)

    def _call(self, node: ast.Call) -> Type:
        if node.keywords or any(isinstance(argument, ast.Starred) for argument in node.args):
            raise self.refuse(node, "allowed are positional arguments only")
        called = self.called(node)
        if called is None:
            return self._built_in(node)
        if len(node.args) != len(called.parameters):
            raise self.refuse(node, f"{called.label} takes {len(called.parameters)} arguments")
        for argument, wanted in zip(node.args, called.parameters.values(), strict=True):
            self.wanted(argument, wanted)
        return called.returns

    def called(self, node: ast.Call) -> Function | None:
        """Return the function or method that a call calls, None for one of the language's own."""
        if isinstance(node.func, ast.Attribute):
            kind = self.object_class(node.func.value)
            if node.func.attr.startswith("__") or node.func.attr not in kind.methods:
                raise self.refuse(node, f"{kind.name} has no method {node.func.attr} that can be called here")
            return kind.methods[node.func.attr]
        if not isinstance(node.func, ast.Name):
            raise self.refuse(node, f"`{ast.unparse(node.func)}` can't be called")
        function = self.program.function(self.module, node.func.id)
        if function is None and node.func.id not in BUILT_IN:
            raise self.refuse(node, f"{node.func.id} is not a function that can be called here")
        return function

    def _built_in(self, node: ast.Call) -> Type:
        name = node.func.id if isinstance(node.func, ast.Name) else ""
        least, most = BUILT_IN[name]
        if not least <= len(node.args) <= most:
            raise self.refuse(node, f"{name} takes {least} to {most} arguments here")
        if name == "len":
            if self.typed(node.args[0]).kind not in ("table", "numbers"):
                raise self.refuse(node, "len is for constant tables and lists of numbers")
            return INT
        for argument in node.args:
            self.wanted(argument, INT)
        return INT


def annotated_type(program: Program, function: Function, node: ast.expr | None, what: str) -> Type:
    """Return the type that an annotation names; `what` is annotated."""
    known = {"int": INT, "bool": BOOL, "str": TEXT, "None": NONE}
    text = "" if node is None else ast.unparse(node).strip("'\"")
    if text in known and text != "str":
        return known[text]
    kind = program.class_named(function.module, text)
    if kind is None:
        place = function.node if node is None else node
        raise outside(function.module.path, place, f"{what} of {function.label} must be int, bool or a class")
    return Type("object", kind.name)
