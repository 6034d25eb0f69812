"""Expressions: numbers, conditions, and what names and attributes mean.

The front end ensures that no part of an expression changes what another part reads, so a number is read
from the array where it is used.
"""

import ast

from host_sim.forms.expressions import COMPARISONS, OPERATORS
from host_sim.forms.model import Program
from host_sim.forms.outside import OutsideSubsetError, outside
from host_sim.forms.viper.frame import Frame, Text
from host_sim.forms.viper.graph import Block, Cell, Component, Layout, Outside, outside_name
from host_sim.forms.viper.names import Names
from host_sim.forms.viper.plan import Plan
from host_sim.forms.viper.values import SMALL_INT_MAX, Meaning, Number, Table, constant

WINDOW = 32
_SIGN = 1 << 31


class Expressions:
    """Translates the expressions of one generated function."""

    def __init__(self, program: Program, layout: Layout, plan: Plan, viper: bool, wide: bool) -> None:
        """Start an empty function, for viper or for plain Python.

        `wide`: for the viper of a MicroPython of 64 bits, which reads 32 bits without a sign.
        """
        self.program = program
        self.layout = layout
        self.plan = plan
        self.viper = viper
        self.wide = wide and viper
        self.windows: set[int] = set()
        self.text = Text()
        self.names = Names("v")
        self.outsides: dict[str, str] = {}
        self.frames: list[Frame] = []

    @property
    def frame(self) -> Frame:
        """The function that is being translated now."""
        return self.frames[-1]

    def refusal(self, node: ast.AST, why: str) -> OutsideSubsetError:
        """Return the refusal of `node`."""
        return outside(self.frame.function.module.path, node, why)

    def pointers(self) -> list[str]:
        """Return the lines that a function begins with: its pointers into the array."""
        return [f"w{window} = ptr32(uint(m) + {4 * WINDOW * window})" for window in sorted(self.windows)]

    def call(self, node: ast.Call, wanted: bool) -> Number:
        """Translate a call; `wanted` tells whether the result is used."""
        raise NotImplementedError

    # Meanings.

    def meaning(self, node: ast.expr) -> Meaning:
        """Return what an expression means: an object, a list, a table, or a number."""
        if isinstance(node, ast.Name):
            return self._name(node)
        if isinstance(node, ast.Attribute):
            return self._attribute(node)
        if isinstance(node, ast.Subscript):
            return self._element(node)
        if isinstance(node, ast.Constant) and isinstance(node.value, str):
            return node.value
        return self.number(node)

    def _name(self, node: ast.Name) -> Meaning:
        frame = self.frame
        if node.id in frame.meanings:
            return frame.meanings[node.id]
        if node.id == "self" and frame.me is not None:
            return frame.me
        known = self.program.constant(frame.function.module, node.id)
        if known is None:
            raise self.refusal(node, f"{node.id} is not known here")
        if isinstance(known.value, tuple):
            return Table(known.value)
        return known.value if isinstance(known.value, str) else constant(known.value)

    def _attribute(self, node: ast.Attribute) -> Meaning:
        of = self.meaning(node.value)
        if isinstance(of, Outside):
            return Number(f"int({self.name_outside(of)}.{node.attr})")
        if not isinstance(of, Component) or node.attr not in of.fields:
            raise self.refusal(node, f"`{ast.unparse(node)}` is not a field of a component")
        found = of.fields[node.attr]
        return self.element(self.place(found.at)) if isinstance(found, Cell) else found

    def _element(self, node: ast.Subscript) -> Meaning:
        of = self.meaning(node.value)
        if isinstance(of, Block):
            return self.element(self.place_in(of, node))
        if not isinstance(of, Table):
            raise self.refusal(node, f"`{ast.unparse(node.value)}` is neither a list nor a table")
        index = self.number(node.slice)
        first = of.values[0]
        width = len(first) if isinstance(first, tuple) else 1
        if index.constant is not None and of.offset is None:
            chosen = of.values[index.constant]
            if isinstance(chosen, tuple):
                return Table(chosen)
            return chosen if isinstance(chosen, str) else constant(chosen)
        scaled = index if width == 1 else Number(f"{index.operand} * {width}")
        if of.offset is not None:
            scaled = Number(f"{of.offset.operand} + {scaled.operand}")
        whole = of.whole or of.values
        if isinstance(first, tuple):
            return Table(first, scaled, whole)
        at = self.layout.table(self._flat(node, whole))
        return self.element(self.place(at, scaled))

    def _flat(self, node: ast.AST, values: object) -> tuple[int, ...]:
        """Return the numbers of nested tuples of equal lengths, one after the other."""
        if isinstance(values, int):
            return (int(values),)
        if not isinstance(values, tuple) or len({isinstance(v, tuple) and len(v) for v in values}) != 1:
            raise self.refusal(node, "a table has rows of one length, and numbers in them")
        return tuple(number for value in values for number in self._flat(node, value))

    def place_in(self, block: Block, node: ast.Subscript) -> str:
        """Return the place of an element of a list, as text."""
        index = self.number(node.slice)
        if index.constant is None:
            return self.place(block.at, index)
        if not 0 <= index.constant < block.length:
            raise self.refusal(node, f"{index.constant} is outside of a list of {block.length}")
        return self.place(block.at + index.constant)

    def place(self, at: int, index: Number | None = None) -> str:
        """Return an element of the array: number `at`, or `index` more.

        ARM's Thumb reaches 32 words from a pointer in one instruction, so there is a pointer every 32.
        """
        window, offset = divmod(at, WINDOW) if self.viper else (0, at)
        pointer = f"w{window}" if window else "m"
        self.windows |= {window} - {0}
        if index is None:
            return f"{pointer}[{offset}]"
        return f"{pointer}[{index.operand} + {offset}]" if offset else f"{pointer}[{index.text}]"

    def element(self, place: str) -> Number:
        """Return the number at a place of the array."""
        if self.wide:
            return Number(f"({place} ^ {_SIGN}) - {_SIGN}")
        return Number(place)

    def name_outside(self, thing: Outside) -> str:
        """Return the name of an outside object, and note that the function needs it."""
        return self.outsides.setdefault(thing.path, outside_name(thing.path))

    # Numbers.

    def number(self, node: ast.expr) -> Number:
        """Translate an expression whose value is a number or a boolean, which is 0 or 1."""
        if isinstance(node, ast.Constant) and isinstance(node.value, int):
            return constant(node.value)
        if isinstance(node, ast.BinOp):
            return self.combined(node, node.op, node.left, node.right)
        if isinstance(node, ast.UnaryOp) and isinstance(node.op, ast.USub):
            return self.combined(node, ast.Sub(), ast.Constant(0), node.operand)
        if isinstance(node, ast.Compare | ast.BoolOp) or _is_not(node):
            return self._truth(node)
        if isinstance(node, ast.IfExp):
            return self._either(node)
        if isinstance(node, ast.Call):
            return self.call(node, wanted=True)
        if isinstance(node, ast.Name | ast.Attribute | ast.Subscript):
            found = self.meaning(node)
            if isinstance(found, Number):
                return found
        raise self.refusal(node, f"`{ast.unparse(node)}` is not a number of the subset")

    def combined(self, node: ast.AST, operator: ast.operator, left: ast.expr, right: ast.expr) -> Number:
        """Translate an operation on two numbers."""
        if type(operator) not in OPERATORS:
            raise self.refusal(node, f"the operator {type(operator).__name__} is not in the subset")
        sign = OPERATORS[type(operator)]
        first, second = self.numbers([left, right])
        if first.constant is not None and second.constant is not None:
            value = eval(f"({first.constant}) {sign} ({second.constant})")
            if -SMALL_INT_MAX <= value <= SMALL_INT_MAX:
                return constant(value)
        amount = second.constant or 0
        if sign == "//" and amount > 1 and amount & (amount - 1) == 0:
            sign, second = ">>", constant(amount.bit_length() - 1)  # Rounds down too, and calls nothing.
        return Number(f"{first.operand} {sign} {second.operand}")

    def numbers(self, nodes: list[ast.expr]) -> list[Number]:
        """Translate several; the front end ensures that none changes what another reads."""
        return [self.number(node) for node in nodes]

    def simple(self, number: Number) -> Number:
        """Return a number that costs nothing to read twice."""
        if number.constant is not None or number.text.isidentifier():
            return number
        return self.kept(number)

    def kept(self, number: Number) -> Number:
        """Return a number in a new local variable."""
        name = self.names.new()
        self.text.line(f"{name} = {number.text}")
        return Number(name)

    def _truth(self, node: ast.expr) -> Number:
        condition = self.condition(node)
        name = self.names.new()
        self.text.line(f"{name} = 0")
        with self.text.block(f"if {condition}:"):
            self.text.line(f"{name} = 1")
        return Number(name)

    def _either(self, node: ast.IfExp) -> Number:
        condition = self.condition(node.test)
        name = self.names.new()
        with self.text.block(f"if {condition}:"):
            self.text.line(f"{name} = {self.number(node.body).text}")
        with self.text.block("else:"):
            self.text.line(f"{name} = {self.number(node.orelse).text}")
        return Number(name)

    # Conditions.

    def condition(self, node: ast.expr) -> str:
        """Translate a condition, for an `if` that follows at once."""
        if isinstance(node, ast.BoolOp):
            return self._joined(node)
        if isinstance(node, ast.UnaryOp) and isinstance(node.op, ast.Not):
            return f"not ({self.condition(node.operand)})"
        if isinstance(node, ast.Compare):
            return self._comparison(node)
        return self.number(node).text

    def _comparison(self, node: ast.Compare) -> str:
        signs = []
        for operator in node.ops:
            if type(operator) not in COMPARISONS:
                raise self.refusal(node, f"the comparison {type(operator).__name__} is not in the subset")
            signs.append(COMPARISONS[type(operator)])
        numbers = self.numbers([node.left, *node.comparators])
        numbers[1:-1] = [self.simple(number) for number in numbers[1:-1]]
        pairs = zip(numbers, signs, numbers[1:], strict=False)
        return " and ".join(f"{left.operand} {sign} {right.operand}" for left, sign, right in pairs)

    def _joined(self, node: ast.BoolOp) -> str:
        """Translate `and` and `or`; a part with its own lines is executed only when Python evaluates it."""
        word = "and" if isinstance(node.op, ast.And) else "or"
        parts = [self.condition(node.values[0])]
        lines = len(self.text.lines)
        mark = self.names.mark()
        outsides, called, windows = dict(self.outsides), len(self.plan.called), set(self.windows)
        for value in node.values[1:]:
            parts.append(self.condition(value))
        if len(self.text.lines) == lines:
            return f" {word} ".join(f"({part})" for part in parts)
        del self.text.lines[lines:]
        self.names.release(mark, set())
        self.outsides, self.windows = outsides, windows
        del self.plan.called[called:]
        return self._stepwise(node, word, parts[0])

    def _stepwise(self, node: ast.BoolOp, word: str, first: str) -> str:
        """Evaluate part after part in nested ifs; `first` is already translated."""
        name = self.names.new()
        decided, other = (0, 1) if word == "and" else (1, 0)
        self.text.line(f"{name} = {decided}")
        before = self.text.depth
        for number, value in enumerate(node.values):
            part = first if number == 0 else self.condition(value)
            self.text.line(f"if {part}:" if word == "and" else f"if not ({part}):")
            self.text.depth += 1
        self.text.line(f"{name} = {other}")
        self.text.depth = before
        return name


def _is_not(node: ast.expr) -> bool:
    return isinstance(node, ast.UnaryOp) and isinstance(node.op, ast.Not)
