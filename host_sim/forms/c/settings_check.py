"""The class of values in C: its defaults, and the check that its Python constructor makes.

Python's constructor takes a dictionary and can't be translated. Its checks are generated from the same
tables: each value in its range, pairs that must ascend, and the `if … raise` statements after its loops.
"""

import ast

from host_sim.forms.c.comments import comment, wrapped
from host_sim.forms.c.names import NUMBER, Names
from host_sim.forms.c.statements import StatementWriter
from host_sim.forms.model import INT, Class, Function, Program
from host_sim.forms.outside import outside
from host_sim.forms.statements import Statements

PAIRS_FROM = 1000
FURTHER_FROM = 2000
NARROW = 1 << 16
TABLES = """\
/* Of each setting, in the order of the struct: its default and its range. */
static const struct {{
    {number} by_default;
    {number} lowest;
    {number} highest;{shifted}
}} {name}_ROWS[{count}] = {{
{rows}
}};
{shifts}
/* Pairs of settings of which the first must be lower, by their numbers from 0. */
static const uint8_t {name}_ASCENDING[{pairs}][2] = {{
{ascending}
}};

typedef char settings_are_numbers_in_a_row[sizeof({name}) == sizeof(int32_t) * {count} ? 1 : -1];

void {name}_default({name} *self)
{{
    int32_t *values = (int32_t *)(void *)self;
    for (int32_t index = 0; index < {count}; index++) {{
        values[index] = {name}_ROWS[index].by_default;
    }}
}}

int32_t {name}_check(const {name} *self)
{{
    const int32_t *values = (const int32_t *)(const void *)self;
    for (int32_t index = 0; index < {count}; index++) {{
        const int32_t highest = {highest};
        if (values[index] < {name}_ROWS[index].lowest || values[index] > highest) {{
            return index + 1;
        }}
    }}
    for (int32_t index = 0; index < {pairs}; index++) {{
        if (values[{name}_ASCENDING[index][0]] >= values[{name}_ASCENDING[index][1]]) {{
            return {pairs_from} + index;
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
            sentence = "a check is `if` with nothing but a message and `raise`"
            raise outside(self.kind.module.path, statement, sentence)
        assert isinstance(last.exc, ast.Call)
        number = FURTHER_FROM + len(self.further)
        known = {ast.unparse(one.targets[0]): _message(one.value, {}) for one in texts}
        self.further[number] = _message(last.exc.args[0], known)
        returned = ast.copy_location(ast.Return(ast.Constant(number)), last)
        return ast.copy_location(ast.If(statement.test, [returned], []), statement)

    def prototypes(self) -> list[str]:
        """Return the declarations for the header, with comments."""
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
        """Return the tables and the two functions."""
        name, count = self.kind.name, len(self.rows)
        narrow = self._is_narrow()
        names = [row[0] for row in self.rows]
        shifts = [_shift(row[3]) if narrow else 0 for row in self.rows]
        rows = [
            f"    {{{row[1]}, {row[2]}, {row[3] >> shift}}}, /* {row[0]} */"
            for row, shift in zip(self.rows, shifts, strict=True)
        ]
        ascending = [
            f"    {{{names.index(low)}, {names.index(high)}}}, /* {low}, {high} */"
            for low, high in self.pairs
        ]
        highest = f"{name}_ROWS[index].highest"
        text = TABLES.format(
            name=name,
            count=count,
            number="uint16_t" if narrow else NUMBER,
            shifted=" /* Without the bits that the next table tells. */" if any(shifts) else "",
            rows="\n".join(rows),
            shifts=_shift_table(name, shifts),
            pairs=len(self.pairs),
            ascending="\n".join(ascending),
            pairs_from=PAIRS_FROM,
            highest=f"({NUMBER}){highest} << {name}_SHIFTS[index]" if any(shifts) else highest,
        )
        return [*text.splitlines(), *self._writer.write(), "}", ""]

    def _is_narrow(self) -> bool:
        """Whether all numbers fit 16 bits, the highest of them without low bits that are 0."""
        return all(
            0 <= default < NARROW and 0 <= low < NARROW and 0 <= high >> _shift(high) < NARROW
            for _, default, low, high, _ in self.rows
        )

    def refusals(self) -> list[tuple[int, str]]:
        """Return the meaning of each number that the check returns."""
        found = [(at, f"{row[0]} must be {row[2]} to {row[3]}") for at, row in enumerate(self.rows, 1)]
        found += [
            (at, f"{low} must be lower than {high}") for at, (low, high) in enumerate(self.pairs, PAIRS_FROM)
        ]
        return [*found, *self.further.items()]

    def comment_of(self, field: str) -> str:
        """Return the comment next to a field."""
        _, default, lowest, highest, sentence = self.rows[[row[0] for row in self.rows].index(field)]
        return f"{lowest} to {highest}, by default {default}: {sentence}"


def _rows(value: object) -> list[tuple[object, ...]]:
    assert isinstance(value, tuple)
    return list(value)


def _shift(highest: int) -> int:
    """Return how many low zero bits are left out so that a number fits 16 bits; 0 if that does not help."""
    shift = 0
    while highest >> shift >= NARROW and (highest >> shift) % 2 == 0:
        shift += 1
    return shift


def _shift_table(name: str, shifts: list[int]) -> str:
    if not any(shifts):
        return ""
    texts = ", ".join(map(str, shifts))
    return "\n".join(["", *wrapped(f"static const uint8_t {name}_SHIFTS[{len(shifts)}] = {{{texts}}};"), ""])


def _is_message(value: ast.expr) -> bool:
    return isinstance(value, ast.JoinedStr) or (
        isinstance(value, ast.Constant) and isinstance(value.value, str)
    )


def _message(value: ast.expr, known: dict[str, str]) -> str:
    """Return a message with the names of its placeholders, up to the rejected value."""
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
