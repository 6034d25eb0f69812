"""Calls: inlined, or calls of another generated function."""

import ast

from host_sim.forms.model import Function
from host_sim.forms.viper.expressions import Expressions
from host_sim.forms.viper.frame import Frame, assigned_in, returns_in
from host_sim.forms.viper.graph import Block, Component, Outside, outside_name
from host_sim.forms.viper.idioms import signed_part
from host_sim.forms.viper.plan import Target
from host_sim.forms.viper.values import Meaning, Number, Table, constant


class Calls(Expressions):
    """Translates calls; the plan says which are inlined."""

    def statements(self, nodes: list[ast.stmt]) -> None:
        """Translate statements."""
        raise NotImplementedError

    def call(self, node: ast.Call, wanted: bool) -> Number:
        """Translate a call; unless `wanted`, the returned number has no meaning."""
        if isinstance(node.func, ast.Name):
            return self._call_function(node, node.func.id, wanted)
        if not isinstance(node.func, ast.Attribute):
            raise self.refusal(node, f"`{ast.unparse(node.func)}` can't be called")
        of = self.meaning(node.func.value)
        if isinstance(of, Outside):
            return self._ask_outside(node, f"{self.name_outside(of)}.{node.func.attr}", wanted)
        kind = self.program.classes.get(of.cls.__name__) if isinstance(of, Component) else None
        if kind is None or node.func.attr not in kind.methods:
            raise self.refusal(node, f"`{ast.unparse(node.func)}` is not a known method")
        assert isinstance(of, Component)
        return self.invoke(node, kind.methods[node.func.attr], of, wanted)

    def _call_function(self, node: ast.Call, name: str, wanted: bool) -> Number:
        if name in ("min", "max") and len(node.args) >= 2 and not node.keywords:
            return self._extreme(node, "<" if name == "min" else ">")
        if name == "abs" and len(node.args) == 1 and not node.keywords:
            kept = self.kept(self.number(node.args[0]))
            with self.text.block(f"if {kept.text} < 0:"):
                self.text.line(f"{kept.text} = 0 - {kept.text}")
            return kept
        if name == "len" and len(node.args) == 1 and not node.keywords:
            of = self.meaning(node.args[0])
            if isinstance(of, Table | Block):
                return constant(len(of.values) if isinstance(of, Table) else of.length)
        function = self.program.function(self.frame.function.module, name)
        if function is None:
            raise self.refusal(node, f"`{name}` is not a known function")
        return self.invoke(node, function, None, wanted)

    def _extreme(self, node: ast.Call, sign: str) -> Number:
        numbers = self.numbers(node.args)
        numbers[1:] = [self.simple(number) for number in numbers[1:]]
        kept = self.kept(numbers[0])
        for number in numbers[1:]:
            with self.text.block(f"if {number.text} {sign} {kept.text}:"):
                self.text.line(f"{kept.text} = {number.text}")
        return kept

    def _ask_outside(self, node: ast.Call, what: str, wanted: bool) -> Number:
        if node.keywords:
            raise self.refusal(node, "an outside object takes no arguments by name")
        asked = f"{what}({', '.join(number.text for number in self.numbers(node.args))})"
        if not wanted:
            self.text.line(asked)
            return constant(0)
        name = self.names.new()
        self.text.line(f"{name} = int({asked})")
        return Number(name)

    # Functions and methods of ours.

    def invoke(self, node: ast.Call, function: Function, me: Component | None, wanted: bool) -> Number:
        """Call a function, or inline it here."""
        given, numbers = self._arguments(node, function)
        target = Target(function, me, given)
        if not self.plan.writes_out(target):
            return self._called(target, [numbers[name].text for name in target.numbers], wanted)
        return self.written_out(target, numbers, wanted)

    def _arguments(
        self, node: ast.Call, function: Function
    ) -> tuple[tuple[tuple[str, Meaning], ...], dict[str, Number]]:
        names = list(function.parameters)
        nodes = dict(zip(names, node.args, strict=False))
        nodes |= {str(word.arg): word.value for word in node.keywords}
        if len(node.args) > len(names) or set(nodes) != set(names):
            raise self.refusal(node, f"{function.label} is not given exactly its arguments")
        given, counted = [], []
        for name, argument in nodes.items():
            if function.parameters[name].kind == "object":
                given.append((name, self.meaning(argument)))
            else:
                counted.append(name)
        found = self.numbers([nodes[name] for name in counted])
        return tuple(given), dict(zip(counted, found, strict=True))

    def _called(self, target: Target, arguments: list[str], wanted: bool) -> Number:
        name = self.plan.name_of(target)
        outsides = self.plan.outsides.get(target.key, [])
        for path in outsides:
            self.outsides.setdefault(path, outside_name(path))
        words = ["m", *(self.outsides[path] for path in outsides), *arguments]
        call = f"{name}({', '.join(words)})"
        if not wanted:
            self.text.line(call)
            return constant(0)
        kept = self.names.new()
        self.text.line(f"{kept} = int({call})")
        return Number(kept)

    def written_out(self, target: Target, numbers: dict[str, Number], wanted: bool) -> Number:
        """Inline a function at its call."""
        function = target.function
        frame = Frame(function, target.me, dict(target.given), inside=True)
        signed = signed_part(self.program, function)
        if signed is not None:
            frame.meanings |= numbers
            self.frames.append(frame)
            masked = self.number(signed[0])
            self.frames.pop()
            return Number(f"({masked.operand} ^ {signed[1]}) - {signed[1]}")
        changed = assigned_in(function)
        for name, number in numbers.items():
            steady = number.constant is not None or number.text.isidentifier()
            if name in changed or not steady:
                number = self.kept(number)
                frame.own.add(name)
            frame.meanings[name] = number
        returns = returns_in(function)
        last = function.body[-1]
        frame.leaves_loop = bool(returns) and returns != [last]
        self.frames.append(frame)
        if frame.leaves_loop:
            frame.result = self.names.new() if function.returns.kind != "none" else None
            with self.text.block("while True:"):
                self.statements(function.body)
                if not isinstance(last, ast.Return):
                    self.text.line("break")
            found = Number(frame.result) if frame.result else constant(0)
        elif returns:
            self.statements(function.body[:-1])
            value = returns[0].value
            found = constant(0) if value is None else self.number(value)
        else:
            self.statements(function.body)
            found = constant(0)
        self.frames.pop()
        return found
