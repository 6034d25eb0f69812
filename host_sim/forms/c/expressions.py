"""Expressions in C.

Each has a level, how tightly it binds; an operand that binds less tightly, or that a reader or a compiler
could misread, is put in parentheses. Division and remainder round down as in Python, by functions, or by a
shift if the divisor is a literal power of two; a left shift is a product, since C does not define it for
negative numbers.
"""

import ast
from collections.abc import Callable

from host_sim.forms.c.names import NUMBER, Names
from host_sim.forms.expressions import COMPARISONS, OPERATORS, Expressions
from host_sim.forms.model import BOOL, Constant, Function, Program
from host_sim.forms.outside import outside

PRIMARY, UNARY, PRODUCT, SUM, SHIFT, BIT_AND, BIT_XOR, BIT_OR, RELATION, AND, OR, CHOICE = range(12)
_LEVELS: dict[type[ast.operator], int] = {
    ast.Add: SUM,
    ast.Sub: SUM,
    ast.Mult: PRODUCT,
    ast.RShift: SHIFT,
    ast.BitAnd: BIT_AND,
    ast.BitXor: BIT_XOR,
    ast.BitOr: BIT_OR,
}
Writer = Callable[[ast.expr, int], str]
ROUNDING = {ast.FloorDiv: "floor_div", ast.Mod: "floor_mod"}
BUILT_IN = {"min": "min_of", "max": "max_of", "abs": "abs_of"}


class ExpressionWriter:
    """Writes the expressions of one function; `used` collects the helper functions that it needs."""

    def __init__(self, program: Program, names: Names, function: Function, used: set[str]) -> None:
        """Write inside `function`."""
        self.program = program
        self.names = names
        self.function = function
        self.used = used
        self.replaced: dict[str, str] = {}
        """Variables that stand for something else here: those of a loop that is written out."""

    def value(self, node: ast.expr, most: int = CHOICE) -> str:
        """Return an expression, in parentheses if it binds less tightly than `most`."""
        text, level = self._value(node)
        return f"({text})" if level > most else text

    def condition(self, node: ast.expr, most: int = CHOICE) -> str:
        """Return an expression that is used as a condition."""
        text, level = self._condition(node)
        return f"({text})" if level > most else text

    def pointer(self, node: ast.expr) -> str:
        """Return the address of an object."""
        text = self.value(node)
        return f"&{text}" if self.is_owned(node) else text

    def is_owned(self, node: ast.expr) -> bool:
        """Whether an expression names a struct within another, rather than a pointer to one."""
        if not isinstance(node, ast.Attribute) or self.program.type_of(node).kind != "object":
            return False
        owner = self.program.classes[self.program.type_of(node.value).name]
        return owner.fields[node.attr].owned

    def call(self, called: Function, receiver: str, arguments: list[ast.expr]) -> str:
        """Return the call of a function or method."""
        texts = [receiver] if receiver else []
        for argument in arguments:
            is_object = self.program.type_of(argument).kind == "object"
            texts.append(self.pointer(argument) if is_object else self.value(argument))
        return f"{self.names.function(called)}({', '.join(texts)})"

    def _condition(self, node: ast.expr) -> tuple[str, int]:
        if isinstance(node, ast.BoolOp):
            return self._joined(node, self.condition)
        if isinstance(node, ast.UnaryOp) and isinstance(node.op, ast.Not):
            return f"!{self.condition(node.operand, PRIMARY)}", UNARY
        if self.program.type_of(node) == BOOL:
            return self._value(node)
        return f"{self.value(node, SUM)} != 0", RELATION

    def _joined(self, node: ast.BoolOp, write: Writer) -> tuple[str, int]:
        sign, level = ("&&", AND) if isinstance(node.op, ast.And) else ("||", OR)
        return f" {sign} ".join(write(value, RELATION) for value in node.values), level

    def _value(self, node: ast.expr) -> tuple[str, int]:
        if isinstance(node, ast.Constant):
            return self._literal(node), PRIMARY
        if isinstance(node, ast.Name):
            return self._name(node), PRIMARY
        if isinstance(node, ast.Attribute):
            return self._field(node), PRIMARY
        if isinstance(node, ast.BinOp):
            return self.combined(node.op, node.left, self.value(node.left), node.right)
        if isinstance(node, ast.UnaryOp) and isinstance(node.op, ast.USub):
            return f"-{self.value(node.operand, PRIMARY)}", UNARY
        if isinstance(node, ast.UnaryOp):
            return self._condition(node)
        if isinstance(node, ast.BoolOp):
            return self._joined(node, self.value)
        if isinstance(node, ast.Compare):
            return self._comparison(node)
        if isinstance(node, ast.IfExp):
            return self._choice(node), CHOICE
        if isinstance(node, ast.Subscript):
            return f"{self.value(node.value)}[{self.value(node.slice)}]", PRIMARY
        assert isinstance(node, ast.Call)
        return self._call(node), PRIMARY

    def _literal(self, node: ast.Constant) -> str:
        """Return a literal, hexadecimal if it is so in the source."""
        if not isinstance(node.value, int) or isinstance(node.value, bool):
            return "true" if node.value else "false"
        lines = self.function.module.text.splitlines()
        written = lines[node.lineno - 1].encode()[node.col_offset : node.end_col_offset].decode()
        return f"0x{node.value:X}" if written.startswith("0x") else str(node.value)

    def _name(self, node: ast.Name) -> str:
        if node.id in self.replaced:
            return self.replaced[node.id]
        if node.id == "self" or node.id in self.function.locals or node.id in self.function.parameters:
            return node.id
        return self.names.constant(self.constant(node))

    def constant(self, node: ast.Name) -> Constant:
        """Return the constant that a name means."""
        found = self.program.constant(self.function.module, node.id)
        if found is None:
            raise outside(self.function.module.path, node, f"{node.id} has no value here")
        return found

    def _field(self, node: ast.Attribute) -> str:
        return f"{self.value(node.value)}{'.' if self.is_owned(node.value) else '->'}{node.attr}"

    def combined(self, sign: ast.operator, left: ast.expr, plain: str, right: ast.expr) -> tuple[str, int]:
        """Return `left sign right`; `plain` is the left side without parentheses."""
        if isinstance(sign, ast.FloorDiv) and (bits := _power_of_two(right)):
            return f"{self.value(left, UNARY)} >> {bits}", SHIFT  # Rounds down too, and is one instruction.
        if type(sign) in ROUNDING:
            helper = ROUNDING[type(sign)]
            self.used.add(helper)
            return f"{helper}({plain}, {self.value(right)})", PRIMARY
        if isinstance(sign, ast.LShift):
            return self._shifted_left(left, right)
        level = _LEVELS[type(sign)]
        # The left operand may have the same operator; shifts and bit operators never mix with others.
        same = isinstance(left, ast.BinOp) and type(left.op) is type(sign)
        most = level if level <= SUM or (same and level > SHIFT) else UNARY
        after = self.value(right, level - 1 if level <= SUM else UNARY)
        return f"{self.value(left, most)} {OPERATORS[type(sign)]} {after}", level

    def _shifted_left(self, left: ast.expr, right: ast.expr) -> tuple[str, int]:
        known = Expressions(self.program, self.function).known_value(left)
        if known is not None and known >= 0:
            return f"({NUMBER}){self.value(left, PRIMARY)} << {self.value(right, UNARY)}", SHIFT
        return f"{self.value(left, PRODUCT)} * (({NUMBER})1 << {self.value(right, UNARY)})", PRODUCT

    def _comparison(self, node: ast.Compare) -> tuple[str, int]:
        operands = [self.value(one, SUM) for one in (node.left, *node.comparators)]
        pairs = [
            f"{operands[index]} {COMPARISONS[type(sign)]} {operands[index + 1]}"
            for index, sign in enumerate(node.ops)
        ]
        return " && ".join(pairs), RELATION if len(pairs) == 1 else AND

    def _choice(self, node: ast.IfExp) -> str:
        return (
            f"{self.condition(node.test, OR)} ? {self.value(node.body, OR)} : {self.value(node.orelse, OR)}"
        )

    def _call(self, node: ast.Call) -> str:
        called = Expressions(self.program, self.function).called(node)
        if called is None:
            return self._built_in(node)
        receiver = self.pointer(node.func.value) if isinstance(node.func, ast.Attribute) else ""
        return self.call(called, receiver, node.args)

    def _built_in(self, node: ast.Call) -> str:
        name = ast.unparse(node.func)
        if name == "len":
            return str(self.program.type_of(node.args[0]).dims[0])
        self.used.add(BUILT_IN[name])
        texts = [self.value(argument) for argument in node.args]
        found = f"{BUILT_IN[name]}({', '.join(texts[:2])})"
        return found if len(texts) < 3 else f"{BUILT_IN[name]}({found}, {texts[2]})"


def _power_of_two(node: ast.expr) -> int:
    """Return the exponent of a literal that is a power of two above 1, else 0."""
    value = node.value if isinstance(node, ast.Constant) else 0
    assert isinstance(value, int)
    return value.bit_length() - 1 if value > 1 and value & (value - 1) == 0 else 0
