"""The class of values in C: its defaults, and the check that its Python constructor makes.

Python's constructor takes a dictionary and can't be translated. What it checks is made again from the same
tables: each value in its range, pairs that must ascend, and the `if … raise` statements after its loops.
"""

import ast

from host_sim.forms.c.comments import comment
from host_sim.forms.c.names import NUMBER, Names
from host_sim.forms.c.statements import StatementWriter
from host_sim.forms.model import INT, Class, Function, Program
from host_sim.forms.outside import outside
from host_sim.forms.statements import Statements

PAIRS_FROM = 1000
FURTHER_FROM = 2000
CHECK_OF_RANGES = """\
    for (int32_t index = 0; index < {count}; index++) {{
        const void *place = (const char *)self + {name}_ranges[index].place;
        const int32_t value = *(const int32_t *)place;
        if (value < {name}_ranges[index].lowest || value > {name}_ranges[index].highest) {{
            return index + 1;
        }}
    }}
"""
Row = tuple[str, int, int, int, str]


class SettingsCheck:
    """What is known about one class of values. Read: `rows`, `pairs`, `further`, and the texts for C."""

    def __init__(self, program: Program, names: Names, kind: Class, used: set[str]) -> None:
        """Read the tables beside the class."""
        self.program = program
        self.kind = kind
        constants = kind.module.constants
        self.rows: list[Row] = [self._row(row) for row in _rows(constants["TABLE"].value)]
        self.pairs = [(str(pair[0]), str(pair[1])) for pair in _rows(constants["ASCENDING"].value)]
        if [row[0] for row in self.rows] != list(kind.fields):
            raise outside(kind.module.path, kind.node, f"the fields of {kind.name} are not the rows of TABLE")
        self.further: dict[int, str] = {}
        """The further checks: by number, what their message says."""
        self._function = self._further_checks()
        self._writer = StatementWriter(program, names, self._function, used)

    def _row(self, row: tuple[object, ...]) -> Row:
        name, default, lowest, highest, sentence = row
        assert isinstance(default, int)
        assert isinstance(lowest, int)
        assert isinstance(highest, int)
        return str(name), default, lowest, highest, str(sentence)

    def _further_checks(self) -> Function:
        """Return the statements after the constructor's last loop as a function that returns a number."""
        source = next(
            one for one in self.kind.node.body if isinstance(one, ast.FunctionDef) and one.name == "__init__"
        )
        loops = [index for index, one in enumerate(source.body) if isinstance(one, ast.For)]
        tail = [self._numbered(one) for one in source.body[loops[-1] + 1 if loops else len(source.body) :]]
        body = [*tail, ast.Return(ast.Constant(0))]
        node = ast.FunctionDef("further", source.args, body, [], lineno=source.lineno)
        ast.fix_missing_locations(node)
        node.lineno = tail[0].lineno if tail else source.lineno
        function = Function("further", self.kind.module, self.kind, node, {}, INT)
        Statements(self.program, function).take_all(body)
        return function

    def _numbered(self, statement: ast.stmt) -> ast.stmt:
        """Return `if …: raise` as `if …: return number`; any other statement as it is."""
        if not isinstance(statement, ast.If):
            return statement
        last = statement.body[-1]
        texts = [one for one in statement.body[:-1] if isinstance(one, ast.Assign) and _is_message(one.value)]
        if statement.orelse or len(texts) < len(statement.body) - 1 or not isinstance(last, ast.Raise):
            raise outside(
                self.kind.module.path, statement, "a check is `if` with nothing but a message and `raise`"
            )
        assert isinstance(last.exc, ast.Call)
        number = FURTHER_FROM + len(self.further)
        known = {ast.unparse(one.targets[0]): _message(one.value, {}) for one in texts}
        self.further[number] = _message(last.exc.args[0], known)
        returned = ast.copy_location(ast.Return(ast.Constant(number)), last)
        return ast.copy_location(ast.If(statement.test, [returned], []), statement)

    def prototypes(self) -> list[str]:
        """Return what the header declares, with what it means."""
        name = self.kind.name
        return [
            *comment("Put the default into every setting."),
            f"void {name}_default({name} *self);",
            "",
            *comment(
                "Return 0 where `self` is legal, else the number of what is not: n for the n-th setting,\n"
                f"which is out of its range, {PAIRS_FROM} and more for two that must ascend, and\n"
                f"{FURTHER_FROM} and more for what else must hold. README.md lists them."
            ),
            f"{NUMBER} {name}_check(const {name} *self);",
        ]

    def source(self) -> list[str]:
        """Return the two functions."""
        name = self.kind.name
        lines = [f"void {name}_default({name} *self)", "{"]
        lines += [f"    self->{row[0]} = {row[1]};" for row in self.rows]
        lines += ["}", "", *self._ranges(), f"{NUMBER} {name}_check(const {name} *self)", "{"]
        lines += CHECK_OF_RANGES.format(name=name, count=len(self.rows)).splitlines()
        for number, (lower, higher) in enumerate(self.pairs, PAIRS_FROM):
            lines += _refused(f"self->{lower} >= self->{higher}", number)
        return [*lines, *self._writer.write(), "}", ""]

    def _ranges(self) -> list[str]:
        """Return the table of ranges."""
        wide = any(abs(row[2]) >= 1 << 15 for row in self.rows)
        lines = ["static const struct {", "    uint16_t place;", f"    int{32 if wide else 16}_t lowest;"]
        lines += [f"    {NUMBER} highest;", f"}} {self.kind.name}_ranges[{len(self.rows)}] = {{"]
        for field, _, lowest, highest, _ in self.rows:
            lines.append(f"    {{offsetof({self.kind.name}, {field}), {lowest}, {highest}}},")
        return [*lines, "};", ""]

    def refusals(self) -> list[tuple[int, str]]:
        """Return what each number of the check means."""
        found = [(at, f"{row[0]} must be {row[2]} to {row[3]}") for at, row in enumerate(self.rows, 1)]
        found += [
            (at, f"{low} must be lower than {high}") for at, (low, high) in enumerate(self.pairs, PAIRS_FROM)
        ]
        return [*found, *self.further.items()]

    def comment_of(self, field: str) -> str:
        """Return what stands beside a field."""
        _, default, lowest, highest, sentence = self.rows[[row[0] for row in self.rows].index(field)]
        return f"{lowest} to {highest}, by default {default}: {sentence}"


def _rows(value: object) -> list[tuple[object, ...]]:
    assert isinstance(value, tuple)
    return list(value)


def _refused(condition: str, number: int) -> list[str]:
    return [f"    if ({condition}) {{", f"        return {number};", "    }"]


def _is_message(value: ast.expr) -> bool:
    return isinstance(value, ast.JoinedStr) or (
        isinstance(value, ast.Constant) and isinstance(value.value, str)
    )


def _message(value: ast.expr, known: dict[str, str]) -> str:
    """Return a message with the names of what it fills in, up to what was got."""
    if isinstance(value, ast.Constant):
        return str(value.value)
    assert isinstance(value, ast.JoinedStr)
    parts = []
    for part in value.values:
        if isinstance(part, ast.FormattedValue):
            name = ast.unparse(part.value)
            parts.append(known.get(name, f"<{name.removeprefix('self.')}>"))
        else:
            assert isinstance(part, ast.Constant)
            parts.append(str(part.value))
    return "".join(parts).partition(", got ")[0]
