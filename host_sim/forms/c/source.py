"""`assist.c`: constants, tables and functions, module after module."""

import ast

from host_sim.forms.c.comments import around, comment, wrapped
from host_sim.forms.c.header import defines, public_functions, public_modules
from host_sim.forms.c.helpers import HEAD, HELPERS
from host_sim.forms.c.names import Names
from host_sim.forms.c.settings_check import SettingsCheck
from host_sim.forms.c.signature import head_of
from host_sim.forms.c.statements import StatementWriter
from host_sim.forms.model import Constant, Function, Module, Program

RULE = "/* " + "-" * 94 + " */"
OWN_STATEMENTS = 8


class SourceWriter:
    """Writes the source."""

    def __init__(
        self, program: Program, names: Names, checks: dict[str, SettingsCheck], used: set[str]
    ) -> None:
        """Take the program; `checks` are those of its classes of values, `used` the helpers in use so far."""
        self.program = program
        self.names = names
        self.checks = checks
        self.used = used
        self.public = public_functions(program)
        self.functions = program.reached([one.label for one in self.public])
        self.components = component_steps(program)
        self.texts = {one.label: self._function(one) for one in self.functions}
        self.named = {
            id(program.constant(one.module, node.id))
            for one in self.functions
            for node in ast.walk(one.node)
            if isinstance(node, ast.Name)
        }

    def write(self) -> str:
        """Return the source."""
        title = ast.get_docstring(self.program.root.module.tree) or ""
        lines = [
            *comment(title),
            '#include "assist.h"',
            "",
            "#include <stddef.h>",
            "",
            *HEAD.splitlines(),
            "",
        ]
        checks = {name: check.source() for name, check in self.checks.items()}
        for name, text in HELPERS.items():
            if name in self.used:
                lines += [*text.splitlines(), ""]
        for module in self.program.modules.values():
            lines += self._module(module)
            for check in self.checks.values():
                if check.kind.module is module:
                    lines += checks[check.kind.name]
        return "\n".join(lines).rstrip() + "\n"

    def _module(self, module: Module) -> list[str]:
        heads = [] if module in public_modules(self.program) else defines(self.names, module)
        tables = [line for one in module.constants.values() for line in self._table(one)]
        functions = [one for one in self.functions if one.module is module]
        if not (heads or tables or functions):
            return []
        lines = [
            RULE,
            *comment(ast.get_docstring(module.tree) or ""),
            "",
            *heads,
            *[""] * bool(heads),
            *tables,
        ]
        # Methods call methods that are defined below them.
        private = [one for one in functions if one not in self.public and one.owner is not None]
        for one in private:
            lines += wrapped(f"static {head_of(self.program, self.names, one)};")
        lines += [""] * bool(private)
        for one in functions:
            lines += self.texts[one.label]
        return lines

    def _table(self, constant: Constant) -> list[str]:
        kind = constant.type
        if kind.kind != "table" or kind.name != "int" or not self._in_use(constant):
            return []
        width = next(bits for bits in (8, 16, 32) if _fits(constant.value, bits))
        dims = "".join(f"[{length}]" for length in kind.dims)
        head = f"static const int{width}_t {self.names.constant(constant)}{dims} ="
        assert constant.node.value is not None
        rows = self._rows(constant, constant.node.value, 0)
        return [*around(constant.module, constant.node), f"{head} {rows[0]}", *rows[1:], ""]

    def _in_use(self, constant: Constant) -> bool:
        checked = any(check.kind.module is constant.module for check in self.checks.values())
        return id(constant) in self.named or checked

    def _rows(self, constant: Constant, node: ast.expr, depth: int) -> list[str]:
        assert isinstance(node, ast.Tuple)
        space = " " * 4 * depth
        end = "};" if depth == 0 else "},"
        if not isinstance(node.elts[0], ast.Tuple):
            texts = [self._element(constant, element) for element in node.elts]
            remark = constant.module.comments.get(node.end_lineno or 0, ("", False))[0] if depth else ""
            return [f"{space}{{{', '.join(texts)}{end}{f' /* {remark} */' if remark else ''}"]
        return [
            f"{space}{{",
            *(line for row in node.elts for line in self._rows(constant, row, depth + 1)),
            space + end,
        ]

    def _element(self, constant: Constant, node: ast.expr) -> str:
        found = self.program.constant(constant.module, node.id) if isinstance(node, ast.Name) else None
        return ast.unparse(node) if found is None else self.names.constant(found)

    def _function(self, function: Function) -> list[str]:
        static = "" if function in self.public else "static "
        if function in self.components:
            static = "COMPONENT static "
        writer = StatementWriter(self.program, self.names, function, self.used)
        check: list[str] = []
        if function.is_constructor and function.owner is self.program.root:
            for name, found in function.parameters.items():
                if found.name in self.checks:
                    check = [f"    if ({found.name}_check({name}) != 0) {{", "        return false;", "    }"]
        body = writer.write()
        head = f"{static}{head_of(self.program, self.names, function)}"
        doc = ast.get_docstring(function.node)
        return [*(comment(doc) if doc else []), *wrapped(head), "{", *check, *body, "}", ""]


def component_steps(program: Program) -> list[Function]:
    """Return the components' methods that the root calls in a step, except short ones.

    These stay separate functions: a chip with short offsets reaches a component's fields with less code
    from the component's address than from the root's.
    """
    labels = {
        called
        for label in program.calls
        if program.functions[label].owner is program.root and not program.functions[label].is_constructor
        for called in program.calls[label]
    }
    parts = {field.type.name for field in program.root.fields.values() if field.owned}
    methods = [
        one for kind in program.classes.values() if kind.name in parts for one in kind.methods.values()
    ]
    found = [one for one in methods if one.label in labels]
    return [one for one in found if _statements(program, one) >= OWN_STATEMENTS]


def _statements(program: Program, function: Function) -> int:
    """Return how many statements a function has, with those that it calls."""
    nodes = [node for one in program.reached([function.label]) for node in ast.walk(one.node)]
    return sum(isinstance(node, ast.stmt) for node in nodes)


def _fits(value: object, bits: int) -> bool:
    if isinstance(value, tuple):
        return all(_fits(element, bits) for element in value)
    return isinstance(value, int) and -(1 << bits - 1) <= value < 1 << bits - 1
