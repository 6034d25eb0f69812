"""The statements of the subset, and the types of local variables and fields that follow from them."""

import ast

from host_sim.forms.expressions import Expressions
from host_sim.forms.model import BOOL, INT, NONE, TEXT, Field, Type


class Statements(Expressions):
    """Types the statements of one function, in order."""

    def take_all(self, statements: list[ast.stmt]) -> None:
        """Type statements one after the other."""
        for statement in statements:
            self._take(statement)

    def _take(self, statement: ast.stmt) -> None:
        if isinstance(statement, ast.Assign):
            self._assign(statement)
        elif isinstance(statement, ast.AugAssign):
            self.computed(statement, statement.op, statement.target, statement.value)
        elif isinstance(statement, ast.If):
            self.condition(statement.test)
            self.take_all(statement.body)
            self.take_all(statement.orelse)
        elif isinstance(statement, ast.While) and not statement.orelse:
            self.condition(statement.test)
            self.take_all(statement.body)
        elif isinstance(statement, ast.For) and not statement.orelse:
            self._loop(statement)
        elif isinstance(statement, ast.Return):
            self._return(statement)
        elif isinstance(statement, ast.Expr) and isinstance(statement.value, ast.Call):
            self.typed(statement.value)
        elif not isinstance(statement, ast.Raise) or not self._is_refusal(statement):
            raise self.refuse(statement, f"`{ast.unparse(statement).splitlines()[0]}` is not in the subset")

    def _is_refusal(self, statement: ast.Raise) -> bool:
        """Whether it is a ValueError that a constructor raises; nothing else may be raised."""
        value = statement.exc
        is_call = isinstance(value, ast.Call) and ast.unparse(value.func) == "ValueError"
        if not self.function.is_constructor or not is_call or statement.cause is not None:
            raise self.refuse(statement, "only a constructor may raise, and only ValueError")
        return True

    def _return(self, statement: ast.Return) -> None:
        if statement.value is None:
            if self.function.returns != NONE:
                raise self.refuse(statement, f"{self.function.label} must return {self.function.returns}")
        else:
            self.wanted(statement.value, self.function.returns)

    def _assign(self, statement: ast.Assign) -> None:
        if len(statement.targets) != 1:
            raise self.refuse(statement, "an assignment has one name and one value")
        target = statement.targets[0]
        if isinstance(target, ast.Tuple):
            raise self.refuse(statement, f"`{ast.unparse(statement)}` is not in the subset")
        if isinstance(target, ast.Name):
            self._assign_local(target, self.typed(statement.value))
        elif isinstance(target, ast.Attribute):
            self._assign_field(target, statement)
        elif isinstance(target, ast.Subscript):
            self._assign_element(target, statement.value)
        else:
            raise self.refuse(statement, f"`{ast.unparse(target)}` can't be assigned to")

    def _assign_local(self, target: ast.Name, found: Type) -> None:
        known = self.function.locals
        if found.kind not in ("int", "bool", "object"):
            raise self.refuse(target, f"{target.id} can't hold {found}")
        if target.id in self.function.parameters:
            if self.function.parameters[target.id] != found or found.kind == "object":
                raise self.refuse(target, f"the parameter {target.id} is assigned a value of another type")
        elif known.setdefault(target.id, found) != found:
            sentence = f"{target.id} is {known[target.id]} before and {found} here; give it two names"
            raise self.refuse(target, sentence)
        self.program.types[id(target)] = found

    def _assign_field(self, target: ast.Attribute, statement: ast.Assign) -> None:
        kind = self.object_class(target.value)
        inside = ast.unparse(target.value) == "self"
        found, owned = self._value_for_field(statement.value)
        if kind.declared:
            raise self.refuse(target, f"the fields of {kind.name} are only read")
        if found.kind in ("object", "numbers") and not (inside and self.function.is_constructor):
            raise self.refuse(target, f"{target.attr} holds {found}: only a constructor may set it")
        if found.kind in ("table", "none", "text"):
            raise self.refuse(target, f"a field can't hold {found}")
        if inside and target.attr not in kind.fields:
            kind.fields[target.attr] = Field(target.attr, found, owned, statement)
        known = self.field_type(target)
        if known != found or (found.kind == "object" and kind.fields[target.attr].owned != owned):
            raise self.refuse(target, f"{kind.name}.{target.attr} is {known} before and {found} here")
        self.program.types[id(target)] = found

    def _value_for_field(self, value: ast.expr) -> tuple[Type, bool]:
        """Return the type of what is assigned to a field, and whether the field's object is built for it."""
        if isinstance(value, ast.List) or (isinstance(value, ast.BinOp) and isinstance(value.left, ast.List)):
            return self._list(value), False
        if isinstance(value, ast.Call) and isinstance(value.func, ast.Name):
            kind = self.program.class_named(self.module, value.func.id)
            if kind is not None:
                return self._construction(value, kind.name), True
        return self.typed(value), False

    def _construction(self, value: ast.Call, name: str) -> Type:
        constructor = self.program.classes[name].methods.get("__init__")
        if constructor is None or self.program.classes[name].declared or value.keywords:
            raise self.refuse(value, f"{name} can't be constructed here")
        if len(value.args) != len(constructor.parameters):
            raise self.refuse(value, f"{name} takes {len(constructor.parameters)} arguments")
        for argument, wanted in zip(value.args, constructor.parameters.values(), strict=True):
            self.wanted(argument, wanted)
        found = Type("object", name)
        self.program.types[id(value)] = found
        return found

    def _list(self, value: ast.expr) -> Type:
        """Return the type of `[a, b, c]` or `[a] * length`."""
        elements = value.left if isinstance(value, ast.BinOp) else value
        assert isinstance(elements, ast.List)
        for element in elements.elts:
            self.wanted(element, INT)
        length: int | None = len(elements.elts)
        if isinstance(value, ast.BinOp):
            length = self._length(value.right) if isinstance(value.op, ast.Mult) and length == 1 else None
        if not length or length < 1:
            raise self.refuse(value, f"`{ast.unparse(value)}` is not a list of known length")
        found = Type("numbers", "", (length,))
        self.program.types[id(value)] = found
        return found

    def _length(self, node: ast.expr) -> int | None:
        self.wanted(node, INT)
        if isinstance(node, ast.Call) and ast.unparse(node.func) == "len":
            return self.typed(node.args[0]).dims[0]
        return self.known_value(node)

    def _assign_element(self, target: ast.Subscript, value: ast.expr) -> None:
        if self.typed(target.value).kind != "numbers" or not isinstance(target.value, ast.Attribute):
            raise self.refuse(target, f"`{ast.unparse(target)}` can't be assigned to")
        self.wanted(target.slice, INT)
        self.wanted(value, INT)
        self.program.types[id(target)] = INT

    def _loop(self, statement: ast.For) -> None:
        where = statement.iter
        if isinstance(where, ast.Tuple):
            self._unrolled(statement, where)
        elif isinstance(where, ast.Call) and ast.unparse(where.func) == "range" and len(where.args) in (1, 2):
            for argument in where.args:
                self.wanted(argument, INT)
            self._loop_body(statement)
        elif isinstance(where, ast.Name) and self._is_row(self.typed(where)):
            self._loop_body(statement)
        else:
            raise self.refuse(statement, f"`for … in {ast.unparse(where)}` is not in the subset")

    def _is_row(self, found: Type) -> bool:
        """Tell whether it is a constant table of whole numbers without tables in it."""
        return found.kind == "table" and found.name == "int" and len(found.dims) == 1

    def _loop_body(self, statement: ast.For) -> None:
        """Type a loop over numbers. Its variable must not be changed inside or used after it."""
        target = statement.target
        if not isinstance(target, ast.Name) or target.id in self.function.parameters:
            raise self.refuse(statement, "a loop has one variable of its own")
        self._assign_local(target, INT)
        self.take_all(statement.body)
        for node in ast.walk(self.function.node):
            if isinstance(node, ast.Name) and node.id == target.id and node is not target:
                inside = statement.lineno <= node.lineno <= (statement.end_lineno or 0)
                if not inside or isinstance(node.ctx, ast.Store):
                    raise self.refuse(node, f"{target.id} is a loop variable and is also used otherwise")

    def _unrolled(self, statement: ast.For, rows: ast.Tuple) -> None:
        """Type a loop over a literal tuple: a constructor may have one, to check arguments."""
        names = statement.target.elts if isinstance(statement.target, ast.Tuple) else [statement.target]
        if not self.function.is_constructor or not all(isinstance(name, ast.Name) for name in names):
            raise self.refuse(
                statement, "a loop over a literal tuple is allowed only to check a constructor's arguments"
            )
        for row in rows.elts:
            values = row.elts if isinstance(row, ast.Tuple) else [row]
            if len(values) != len(names):
                raise self.refuse(row, f"`{ast.unparse(row)}` does not have one value for each name")
            for name, value in zip(names, values, strict=True):
                assert isinstance(name, ast.Name)
                is_text = isinstance(value, ast.Constant) and isinstance(value.value, str)
                found = TEXT if is_text else self.wanted(value, INT, BOOL)
                if self.function.locals.setdefault(name.id, found) != found:
                    raise self.refuse(name, f"{name.id} has two types")
        for inner in statement.body:
            checks = isinstance(inner, ast.If) and not inner.orelse and isinstance(inner.body[0], ast.Raise)
            if not checks:
                raise self.refuse(inner, "a loop over a literal tuple may only raise")
            self._take(inner)
        for name in names:
            assert isinstance(name, ast.Name)
            del self.function.locals[name.id]
