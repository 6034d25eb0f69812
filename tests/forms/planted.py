"""Mistakes of a translator: each changes one thing in how it writes C."""

import ast
import re
from collections.abc import Callable

import pytest

from host_sim.forms import constants
from host_sim.forms.c import expressions, helpers, settings_check, source
from host_sim.forms.c.expressions import ExpressionWriter
from host_sim.forms.c.names import Names
from host_sim.forms.c.statements import StatementWriter

Plant = Callable[[pytest.MonkeyPatch], None]
KINDS = {
    "Lt": ("COMPARISONS", "<="),
    "LtE": ("COMPARISONS", "<"),
    "Gt": ("COMPARISONS", ">="),
    "GtE": ("COMPARISONS", ">"),
    "Eq": ("COMPARISONS", "!="),
    "NotEq": ("COMPARISONS", "=="),
    "Add": ("OPERATORS", "-"),
    "Sub": ("OPERATORS", "+"),
    "Mult": ("OPERATORS", "+"),
    "BitAnd": ("OPERATORS", "|"),
    "BitOr": ("OPERATORS", "&"),
    "BitXor": ("OPERATORS", "|"),
}


def operator(name: str) -> Plant:
    table, other = KINDS[name]
    return lambda patch: patch.setitem(getattr(expressions, table), getattr(ast, name), other)


def helper(name: str, before: str, after: str) -> Plant:
    text = helpers.HELPERS[name]
    assert before in text
    return lambda patch: patch.setitem(helpers.HELPERS, name, text.replace(before, after))


def method(owner: type, name: str, change: Callable[[str], str]) -> Plant:
    """Change the text that a method returns."""
    real = getattr(owner, name)
    return lambda patch: patch.setattr(owner, name, lambda self, *given: change(real(self, *given)))


def pair(owner: type, name: str, before: str, after: str) -> Plant:
    """Change the text of a method that returns it with a level."""
    real = getattr(owner, name)

    def changed(self: object, *given: object) -> tuple[str, int]:
        text, level = real(self, *given)
        return text.replace(before, after), level

    return lambda patch: patch.setattr(owner, name, changed)


def loops_one_short(patch: pytest.MonkeyPatch) -> None:
    real = StatementWriter._head
    ends = re.compile(r"< (\d+);")
    patch.setattr(
        StatementWriter,
        "_head",
        lambda self, text, statement, last: real(self, ends.sub(r"< \1 - 1;", text), statement, last),
    )


def lines_of(owner: type, name: str, change: Callable[[list[str]], list[str]]) -> Plant:
    real = getattr(owner, name)
    return lambda patch: patch.setattr(owner, name, lambda self, *given: change(real(self, *given)))


def no_else(patch: pytest.MonkeyPatch) -> None:
    real = StatementWriter._if

    def only_body(self: StatementWriter, statement: ast.If, word: str) -> None:
        last = statement.orelse and not isinstance(statement.orelse[0], ast.If)
        real(
            self,
            ast.copy_location(ast.If(statement.test, statement.body, []), statement) if last else statement,
            word,
        )

    patch.setattr(StatementWriter, "_if", only_body)


def both_joined_by_and(patch: pytest.MonkeyPatch) -> None:
    real = ExpressionWriter._joined

    def joined(self: ExpressionWriter, node: ast.BoolOp, write: object) -> tuple[str, int]:
        return real(self, ast.BoolOp(ast.And(), node.values), write)  # type: ignore[arg-type]

    patch.setattr(ExpressionWriter, "_joined", joined)


def first_of_a_chain(patch: pytest.MonkeyPatch) -> None:
    real = ExpressionWriter._comparison
    patch.setattr(
        ExpressionWriter,
        "_comparison",
        lambda self, node: real(self, ast.Compare(node.left, node.ops[:1], node.comparators[:1])),
    )


def no_parentheses(patch: pytest.MonkeyPatch) -> None:
    patch.setattr(ExpressionWriter, "value", lambda self, node, most=0: self._value(node)[0])


def arguments_turned_round(patch: pytest.MonkeyPatch) -> None:
    real = ExpressionWriter.call
    patch.setattr(
        ExpressionWriter,
        "call",
        lambda self, called, receiver, given: real(self, called, receiver, given[::-1]),
    )


def names_without_modules(patch: pytest.MonkeyPatch) -> None:
    real = Names.__init__

    def merged(self: Names, program: object) -> None:
        real(self, program)  # type: ignore[arg-type]
        self._constants = {place: place[1].lstrip("_") for place in self._constants}

    patch.setattr(Names, "__init__", merged)


def shifted_constants(patch: pytest.MonkeyPatch) -> None:
    patch.setitem(constants._BINARY, ast.LShift, lambda left, right: left << right - 1)


def ranges_one_off(patch: pytest.MonkeyPatch) -> None:
    real = settings_check.SettingsCheck.source

    def wider(self: settings_check.SettingsCheck) -> list[str]:
        self.rows = [(name, default, low, high + 1, text) for name, default, low, high, text in self.rows]
        return real(self)

    patch.setattr(settings_check.SettingsCheck, "source", wider)


def truths_always(patch: pytest.MonkeyPatch) -> None:
    real = ExpressionWriter._condition

    def without_not(self: ExpressionWriter, node: ast.expr) -> tuple[str, int]:
        is_not = isinstance(node, ast.UnaryOp) and isinstance(node.op, ast.Not)
        return real(self, node.operand if is_not else node)  # type: ignore[attr-defined]

    patch.setattr(ExpressionWriter, "_condition", without_not)


def choices_turned_round(patch: pytest.MonkeyPatch) -> None:
    real = ExpressionWriter._choice
    patch.setattr(
        ExpressionWriter,
        "_choice",
        lambda self, node: real(self, ast.IfExp(node.test, node.orelse, node.body)),
    )


ERRORS: dict[str, Plant] = {
    **{f"{name} becomes another operator": operator(name) for name in KINDS},
    "division rounds towards zero": helper(
        "floor_div", "numerator % divisor < 0 ? quotient - 1 : quotient", "quotient"
    ),
    "the smaller of two is the larger": helper("min_of", "other < one", "other > one"),
    "the larger of two is the smaller": helper("max_of", "other > one", "other < one"),
    "an absolute value keeps its sign": helper("abs_of", "value < 0 ? -value : value", "value"),
    "shifts to the left go to the right": pair(ExpressionWriter, "_shifted_left", "<<", ">>"),
    "`or` is written as `and`": both_joined_by_and,
    "`not` is left out": truths_always,
    "a chain keeps its first comparison only": first_of_a_chain,
    "parentheses are left out": no_parentheses,
    "the branches of a choice are turned round": choices_turned_round,
    "`else` is left out": no_else,
    "`-=` is written as `+=`": method(StatementWriter, "_augmented", lambda text: text.replace("-=", "+=")),
    "`|=` is written as `=`": method(StatementWriter, "_augmented", lambda text: text.replace("|=", "=")),
    "a bare return is left out": method(StatementWriter, "_bare_return", lambda text: ";"),
    "lists are filled the other way round": lines_of(
        StatementWriter,
        "_list",
        lambda lines: [*re.sub(r"\[\d\] = ", "[0] = ", "\n".join(lines)).split("\n")],
    ),
    "arguments are turned round": arguments_turned_round,
    "constants of the same name are taken for one": names_without_modules,
    "constants are worked out wrongly": shifted_constants,
    "ranges of settings are one too wide": ranges_one_off,
    "tables lose their last row": lines_of(
        source.SourceWriter, "_rows", lambda lines: [re.sub(r", \w+\}", "}", line) for line in lines]
    ),
    "loops end one sooner": loops_one_short,
}
