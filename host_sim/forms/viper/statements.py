"""Statements: assignments, branches, loops, returns; and, in constructors, building parts and lists."""

import ast

from host_sim.forms.viper.calls import Calls
from host_sim.forms.viper.frame import returns_in
from host_sim.forms.viper.graph import Block, Cell, Component
from host_sim.forms.viper.values import Number, Table


class Statements(Calls):
    """Translates the statements of one generated function."""

    def statements(self, nodes: list[ast.stmt]) -> None:
        """Translate statements one by one; a local variable that only one needs is released after it."""
        for node in nodes:
            mark = self.frame.mark = self.names.mark()
            self._statement(node)
            kept = {value.text for value in self.frame.meanings.values() if isinstance(value, Number)}
            self.names.release(mark, kept | {self.frame.result or ""})

    def _statement(self, node: ast.stmt) -> None:
        if isinstance(node, ast.Assign) and len(node.targets) == 1:
            self._assign(node, node.targets[0], node.value)
        elif isinstance(node, ast.AugAssign):
            self._store(node.target, self.combined(node, node.op, _read(node.target), node.value))
        elif isinstance(node, ast.If):
            self._branch(node)
        elif isinstance(node, ast.While) and not node.orelse:
            self._while(node)
        elif isinstance(node, ast.For) and not node.orelse:
            self._for(node)
        elif isinstance(node, ast.Return):
            self._return(node)
        elif isinstance(node, ast.Expr) and isinstance(node.value, ast.Call):
            self.call(node.value, wanted=False)
        elif isinstance(node, ast.Raise) and self.frame.function.is_constructor:
            self.text.line(f"raise ValueError({f'{self.frame.function.label} refuses a value'!r})")
        elif not isinstance(node, ast.Pass):
            raise self.refusal(node, f"`{ast.unparse(node).splitlines()[0]}` is not in the subset")

    # Assignments.

    def _assign(self, node: ast.stmt, target: ast.expr, value: ast.expr) -> None:
        if isinstance(target, ast.Name):
            self._assign_name(node, target.id, value)
            return
        if isinstance(target, ast.Attribute):
            of = self.meaning(target.value)
            field = of.fields.get(target.attr) if isinstance(of, Component) else None
            if isinstance(field, Component):
                self._make_part(node, field, value)
                return
            if isinstance(field, Block):
                self._make_list(node, field, value)
                return
            if isinstance(field, Cell) and isinstance(value, ast.Compare | ast.BoolOp):
                condition = self.condition(value)
                for heading, text in ((f"if {condition}:", "1"), ("else:", "0")):
                    with self.text.block(heading):
                        self.text.line(f"{self.place(field.at)} = {text}")
                return
        self._store(target, self.number(value))

    def _assign_name(self, node: ast.stmt, name: str, value: ast.expr) -> None:
        if isinstance(value, ast.Name | ast.Attribute):
            found = self.meaning(value)
            if not isinstance(found, Number):
                if self.frame.nesting:
                    raise self.refusal(
                        node, f"{name} may not become another object inside of a branch or loop"
                    )
                self.frame.meanings[name] = found
                return
        self._store(ast.Name(name, ast.Store()), self.number(value))

    def _store(self, target: ast.expr, number: Number) -> None:
        if isinstance(target, ast.Name):
            before = self.frame.meanings.get(target.id)
            if target.id in self.frame.own and isinstance(before, Number):
                self.text.line(f"{before.text} = {number.text}")
                return
            self.frame.own.add(target.id)
            # A value computed for this statement alone needs no copy.
            new = number.constant is None and self.names.given_since(number.text, self.frame.mark)
            self.frame.meanings[target.id] = number if new else self.kept(number)
        elif isinstance(target, ast.Subscript):
            block = self.meaning(target.value)
            if not isinstance(block, Block):
                raise self.refusal(target, f"`{ast.unparse(target.value)}` is not a list")
            self.text.line(f"{self.place_in(block, target)} = {number.text}")
        else:
            self.text.line(f"{self._place(target)} = {number.text}")

    def _place(self, target: ast.expr) -> str:
        if isinstance(target, ast.Attribute):
            of = self.meaning(target.value)
            field = of.fields.get(target.attr) if isinstance(of, Component) else None
            if isinstance(field, Cell):
                return self.place(field.at)
        raise self.refusal(target, f"`{ast.unparse(target)}` takes no number")

    def _make_part(self, node: ast.stmt, field: Component, value: ast.expr) -> None:
        """Build a part, or note that a field refers to an existing one; the built controller shows which."""
        if isinstance(value, ast.Call) and isinstance(value.func, ast.Name):
            kind = self.program.class_named(self.frame.function.module, value.func.id)
            if kind is not None and kind.name == field.cls.__name__:
                self.invoke(value, kind.methods["__init__"], field, wanted=False)
                return
        if self.meaning(value) is not field:
            raise self.refusal(node, f"`{ast.unparse(value)}` is not the part that the built controller has")

    def _make_list(self, node: ast.stmt, field: Block, value: ast.expr) -> None:
        if (
            isinstance(value, ast.BinOp)
            and isinstance(value.op, ast.Mult)
            and isinstance(value.left, ast.List)
        ):
            times = self.number(value.right)
            if len(value.left.elts) == 1 and times.constant == field.length:
                number = self.simple(self.number(value.left.elts[0]))
                at = self.names.new()
                with self.text.block(f"for {at} in range({field.length}):"):
                    self.text.line(f"{self.place(field.at, Number(at))} = {number.text}")
                return
        if isinstance(value, ast.List) and len(value.elts) == field.length:
            for offset, element in enumerate(value.elts):
                self.text.line(f"{self.place(field.at + offset)} = {self.number(element).text}")
            return
        raise self.refusal(node, f"`{ast.unparse(value)}` is not a list of the subset")

    # Branches, loops, returns.

    def _branch(self, node: ast.If) -> None:
        self.frame.nesting += 1
        with self.text.block(f"if {self.condition(node.test)}:"):
            self.statements(node.body)
        if node.orelse:
            with self.text.block("else:"):
                self.statements(node.orelse)
        self.frame.nesting -= 1

    def _while(self, node: ast.While) -> None:
        self.frame.nesting += 1
        with self.text.block("while True:"):
            condition = self.condition(node.test)
            with self.text.block(f"if not ({condition}):"):
                self.text.line("break")
            self.statements(node.body)
        self.frame.nesting -= 1

    def _for(self, node: ast.For) -> None:
        over = node.iter
        self.frame.nesting += 1
        if isinstance(over, ast.Call) and ast.unparse(over.func) == "range" and len(over.args) in (1, 2):
            self._for_range(node, over)
        else:
            self._for_each(node)
        self.frame.nesting -= 1

    def _for_range(self, node: ast.For, over: ast.Call) -> None:
        if not isinstance(node.target, ast.Name):
            raise self.refusal(node, "a loop over numbers has one variable")
        ends = [self.simple(number) for number in self.numbers(over.args)]
        counter, name = self.names.new(), node.target.id
        self.frame.meanings[name] = Number(counter)
        with self.text.block(f"for {counter} in range({', '.join(end.text for end in ends)}):"):
            self.statements(node.body)

    def _for_each(self, node: ast.For) -> None:
        """Unroll a loop over a known tuple."""
        for element in self._elements(node):
            parts = element.elts if isinstance(element, ast.Tuple) else [element]
            targets = node.target.elts if isinstance(node.target, ast.Tuple) else [node.target]
            if len(parts) != len(targets):
                raise self.refusal(node, "the loop's variables don't fit what it goes through")
            for target, part in zip(targets, parts, strict=True):
                if not isinstance(target, ast.Name):
                    raise self.refusal(node, "a loop's variables are names")
                self.frame.meanings[target.id] = self.meaning(part)
            self.statements(node.body)

    def _elements(self, node: ast.For) -> list[ast.expr]:
        if any(isinstance(inner, ast.Break | ast.Continue) for inner in ast.walk(node)):
            raise self.refusal(node, "a loop over a tuple has neither break nor continue")
        if isinstance(node.iter, ast.Tuple):
            return node.iter.elts
        found = self.meaning(node.iter)
        if isinstance(found, Table) and all(isinstance(value, int) for value in found.values):
            return [ast.Constant(value) for value in found.values if isinstance(value, int)]
        raise self.refusal(node, f"a loop goes over a range or a known tuple, not `{ast.unparse(node.iter)}`")

    def _return(self, node: ast.Return) -> None:
        frame = self.frame
        if frame.function.returns.kind == "object":
            # The result is copied out at the end, so this must be the last statement.
            if frame.inside or returns_in(frame.function) != [frame.function.body[-1]]:
                raise self.refusal(
                    node, "an object is returned by the last statement of a public method only"
                )
            return
        number = None if node.value is None else self.number(node.value)
        if not frame.inside:
            self.text.line("return" if number is None else f"return {number.text}")
            return
        if number is not None and frame.result is not None:
            self.text.line(f"{frame.result} = {number.text}")
        self.text.line("break")


def _read(target: ast.expr) -> ast.expr:
    """Return an expression that reads what `target` writes."""
    copy = ast.parse(ast.unparse(target), mode="eval").body
    return ast.copy_location(copy, target)
