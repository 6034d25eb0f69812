"""Statements and whole functions in C, with their comments."""

import ast

from host_sim.forms.c.comments import WIDTH, comment, wrapped
from host_sim.forms.c.expressions import ExpressionWriter
from host_sim.forms.c.names import NUMBER, declared
from host_sim.forms.c.signature import may_refuse
from host_sim.forms.expressions import OPERATORS
from host_sim.forms.model import Type
from host_sim.forms.outside import outside

STEP = 4


class StatementWriter(ExpressionWriter):
    """Writes one function in C. Read: `lines`."""

    def write(self) -> list[str]:
        """Return the statements of the body, with the declarations that they need."""
        self.lines: list[str] = []
        self._indent = STEP
        self._open: set[str] = set(self.function.locals)
        """Local variables that have not been declared yet."""
        node = self.function.node
        self._line = node.body[0].end_lineno or 0 if self.function.body is not node.body else node.lineno
        mentioned = {one.id for one in ast.walk(node) if isinstance(one, ast.Name)}
        for name in ["self"] * (self.function.owner is not None) + list(self.function.parameters):
            if name not in mentioned:
                self._put(f"(void){name};")
        self._declare_at_top()
        self._block(self.function.body)
        if may_refuse(self.program, self.function):
            self._put("return true;")
        return self.lines

    def _put(self, text: str, remark: str = "") -> None:
        note = f" {comment(remark)[0]}" if remark and len(comment(remark)) == 1 else ""
        if remark and (not note or len(text) + len(note) + self._indent > WIDTH):
            self.lines += comment(remark, self._indent)
            note = ""
        self.lines += wrapped(text + note, self._indent)

    def _block(self, statements: list[ast.stmt]) -> None:
        for statement in statements:
            self._comments_before(statement.lineno)
            self._statement(statement)
            self._line = max(self._line, statement.end_lineno or 0)

    def _comments_before(self, line: int) -> None:
        """Write the comments that have their own line and come before `line`."""
        for at in range(self._line + 1, line):
            if at in self.function.module.comments and self.function.module.comments[at][1]:
                self.lines += comment(self.function.module.comments[at][0], self._indent)

    def _remark(self, first: int, last: int) -> str:
        """Return the comments after the code in these lines, and those between them."""
        comments = self.function.module.comments
        return " ".join(comments[at][0] for at in range(first, last + 1) if at in comments)

    def _statement(self, statement: ast.stmt) -> None:
        if isinstance(statement, ast.If):
            self._if(statement, "if")
        elif isinstance(statement, ast.While):
            self._head(f"while ({self.condition(statement.test)}) {{", statement, statement.test)
            self._inner(statement.body)
            self._put("}")
        elif isinstance(statement, ast.For):
            self._for(statement)
        else:
            remark = self._remark(statement.lineno, statement.end_lineno or statement.lineno)
            for line in self._simple(statement):
                self._put(line, remark)
                remark = ""

    def _head(self, text: str, statement: ast.stmt, last: ast.expr) -> None:
        self._put(text, self._remark(statement.lineno, last.end_lineno or statement.lineno))
        self._line = last.end_lineno or statement.lineno

    def _inner(self, statements: list[ast.stmt]) -> None:
        self._indent += STEP
        self._block(statements)
        self._indent -= STEP

    def _if(self, statement: ast.If, word: str) -> None:
        self._head(f"{word} ({self.condition(statement.test)}) {{", statement, statement.test)
        self._inner(statement.body)
        orelse = statement.orelse
        if len(orelse) == 1 and isinstance(orelse[0], ast.If):
            self._comments_before(orelse[0].lineno)
            self._if(orelse[0], "} else if")
            return
        if orelse:
            self._put("} else {")
            self._inner(orelse)
        self._put("}")

    def _simple(self, statement: ast.stmt) -> list[str]:
        """Return a statement without a block; more than one line where an object or a list is set."""
        if isinstance(statement, ast.Return):
            return [self._returned(statement.value) if statement.value else self._bare_return()]
        if isinstance(statement, ast.Raise):
            return ["return false;"]
        if isinstance(statement, ast.AugAssign):
            return [self._augmented(statement)]
        if isinstance(statement, ast.Expr):
            return [f"{self.value(statement.value)};"]
        assert isinstance(statement, ast.Assign)
        return self._assigned(statement)

    def _returned(self, value: ast.expr) -> str:
        is_object = self.program.type_of(value).kind == "object"
        return f"return {self.pointer(value) if is_object else self.value(value)};"

    def _bare_return(self) -> str:
        return "return true;" if may_refuse(self.program, self.function) else "return;"

    def _assigned(self, statement: ast.Assign) -> list[str]:
        target, value = statement.targets[0], statement.value
        if isinstance(target, ast.Name):
            return [self._local(target, value)]
        found = self.program.type_of(target)
        place = self.value(target)
        if found.kind == "numbers":
            return self._list(place, value, found.dims[0])
        if found.kind == "object":
            return self._object(target, place, value)
        return [f"{place} = {self.value(value)};"]

    def _local(self, target: ast.Name, value: ast.expr) -> str:
        found = self.program.type_of(target)
        text = self.pointer(value) if found.kind == "object" else self.value(value)
        if target.id in self._open and target.id not in self._at_top:
            self._open.discard(target.id)
            return f"{self._declared(found, target.id)} = {text};"
        return f"{target.id} = {text};"

    def _declared(self, found: Type, name: str) -> str:
        constant = found.kind == "object" and self.program.classes[found.name].declared
        return declared(found, name, constant)

    def _declare_at_top(self) -> None:
        """Declare, without a value, the variables used outside the block of their first assignment."""
        self._at_top: set[str] = set()
        for name, found in self.function.locals.items():
            if not self._fits_a_block(name, self.function.body):
                self._at_top.add(name)
                self._put(f"{self._declared(found, name)};")

    def _fits_a_block(self, name: str, block: list[ast.stmt]) -> bool:
        """Whether the block that first assigns to a variable contains all its uses."""
        holding = [one for one in block if _mentions(one, name)]
        first = holding[0]
        if isinstance(first, ast.Assign) and ast.unparse(first.targets[0]) == name:
            return True
        if isinstance(first, ast.For) and ast.unparse(first.target) == name:
            return len(holding) == 1
        if len(holding) > 1:
            return False
        parts = [part for part in (getattr(first, "body", []), getattr(first, "orelse", [])) if part]
        within = [part for part in parts if any(_mentions(one, name) for one in part)]
        in_test = hasattr(first, "test") and _mentions(first.test, name)
        return len(within) == 1 and not in_test and self._fits_a_block(name, within[0])

    def _list(self, place: str, value: ast.expr, length: int) -> list[str]:
        if isinstance(value, ast.BinOp):
            assert isinstance(value.left, ast.List)
            loop = f"for ({NUMBER} index = 0; index < {length}; index++) {{"
            return [loop, f"    {place}[index] = {self.value(value.left.elts[0])};", "}"]
        assert isinstance(value, ast.List)
        return [f"{place}[{index}] = {self.value(element)};" for index, element in enumerate(value.elts)]

    def _object(self, target: ast.expr, place: str, value: ast.expr) -> list[str]:
        if not isinstance(value, ast.Call):
            return [f"{place} = {self.pointer(value)};"]
        kind = self.program.classes[self.program.type_of(target).name]
        constructor = kind.methods["__init__"]
        call = self.call(constructor, f"&{place}", value.args)
        if may_refuse(self.program, constructor):
            return [f"if (!{call}) {{", "    return false;", "}"]
        return [f"{call};"]

    def _augmented(self, statement: ast.AugAssign) -> str:
        place = self.value(statement.target)
        if isinstance(statement.op, ast.FloorDiv | ast.Mod | ast.LShift):
            text, _ = self.combined(statement.op, statement.target, place, statement.value)
            return f"{place} = {text};"
        return f"{place} {OPERATORS[type(statement.op)]}= {self.value(statement.value)};"

    def _for(self, statement: ast.For) -> None:
        where = statement.iter
        if isinstance(where, ast.Tuple):
            self._written_out(statement, where)
            return
        name = ast.unparse(statement.target)
        self._open.discard(name)
        if isinstance(where, ast.Name):
            length = self.program.type_of(where).dims[0]
            head = f"for ({NUMBER} {name}_index = 0; {name}_index < {length}; {name}_index++) {{"
            self._head(head, statement, where)
            self._put(f"    const {NUMBER} {name} = {self.value(where)}[{name}_index];")
        else:
            assert isinstance(where, ast.Call)
            first = self.value(where.args[0]) if len(where.args) == 2 else "0"
            end = where.args[-1]
            reads_field = any(isinstance(node, ast.Attribute) for node in ast.walk(end))
            if reads_field or self._changes(statement, end):
                raise outside(
                    self.function.module.path, statement, "the end of a range changes within the loop"
                )
            head = f"for ({NUMBER} {name} = {first}; {name} < {self.value(end)}; {name}++) {{"
            self._head(head, statement, where)
        self._inner(statement.body)
        self._put("}")

    def _changes(self, statement: ast.For, end: ast.expr) -> bool:
        names = {node.id for node in ast.walk(end) if isinstance(node, ast.Name)}
        stored = {
            node.id
            for inner in statement.body
            for node in ast.walk(inner)
            if isinstance(node, ast.Name) and isinstance(node.ctx, ast.Store)
        }
        return bool(names & stored)

    def _written_out(self, statement: ast.For, rows: ast.Tuple) -> None:
        """Unroll a loop: write its body once for each row of its tuple."""
        target = statement.target
        names = [ast.unparse(one) for one in (target.elts if isinstance(target, ast.Tuple) else [target])]
        for row in rows.elts:
            values = row.elts if isinstance(row, ast.Tuple) else [row]
            for name, value in zip(names, values, strict=True):
                is_text = isinstance(value, ast.Constant) and isinstance(value.value, str)
                self.replaced[name] = "" if is_text else self.value(value, 0)
            self._block(statement.body)
        self.replaced = {}


def _mentions(statement: ast.AST, name: str) -> bool:
    return any(isinstance(node, ast.Name) and node.id == name for node in ast.walk(statement))
