"""The front end's output for a back end: modules, constants, classes, fields and methods, all with types."""

import ast
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path

Value = int | bool | str | tuple["Value", ...]
"""The values that a module constant may have."""


@dataclass(frozen=True, slots=True)
class Type:
    """The type of a value: `kind` is one of the words below.

    `int`, `bool`, `none`, `text`; `object` of the class `name`; `numbers`, a list of whole numbers that a
    field holds, of length `dims[0]`; `table`, a constant of nested tuples with the lengths `dims`, whose
    elements are of the kind `name`, or `mixed`.
    """

    kind: str
    name: str = ""
    dims: tuple[int, ...] = ()

    def __str__(self) -> str:
        """Return it in words."""
        return self.name if self.kind == "object" else self.kind


INT = Type("int")
BOOL = Type("bool")
NONE = Type("none")
TEXT = Type("text")


@dataclass(slots=True)
class Constant:
    """A constant of a module, with its value."""

    name: str
    module: "Module"
    value: Value
    type: Type
    node: ast.Assign | ast.AnnAssign

    @property
    def place(self) -> tuple[str, str]:
        """Its unique key: module and name."""
        return self.module.name, self.name


@dataclass(slots=True)
class Function:
    """A function of a module, or a method of a class (`owner`); `parameters` without `self`."""

    name: str
    module: "Module"
    owner: "Class | None"
    node: ast.FunctionDef
    parameters: dict[str, Type]
    returns: Type
    locals: dict[str, Type] = field(default_factory=dict)
    """Local variables in the order of their first assignment, parameters not among them."""

    @property
    def label(self) -> str:
        """Its name in messages."""
        return f"{self.owner.name}.{self.name}" if self.owner else self.name

    @property
    def is_constructor(self) -> bool:
        """Whether it is the `__init__` of its class."""
        return self.owner is not None and self.name == "__init__"

    @property
    def body(self) -> list[ast.stmt]:
        """Its statements without the docstring."""
        return self.node.body[1:] if ast.get_docstring(self.node) is not None else self.node.body


@dataclass(slots=True)
class Field:
    """A field of a class; an object is `owned` if the constructor builds it."""

    name: str
    type: Type
    owned: bool
    node: ast.stmt


@dataclass(slots=True)
class Class:
    """A class. `declared`: its fields are annotations in its body, and its methods are not translated."""

    name: str
    module: "Module"
    node: ast.ClassDef
    declared: bool = False
    fields: dict[str, Field] = field(default_factory=dict)
    methods: dict[str, Function] = field(default_factory=dict)


@dataclass(slots=True)
class Module:
    """A source file. `imports` gives module and name behind each imported name."""

    name: str
    path: Path
    text: str
    tree: ast.Module
    comments: dict[int, tuple[str, bool]]
    """By line: the comment without its sign, and whether it is alone on its line."""
    imports: dict[str, tuple[str, str]] = field(default_factory=dict)
    constants: dict[str, Constant] = field(default_factory=dict)
    functions: dict[str, Function] = field(default_factory=dict)
    classes: dict[str, Class] = field(default_factory=dict)


Place = tuple[str, str]
"""A field in effects: class and name."""


@dataclass(frozen=True, slots=True)
class Effects:
    """The fields that an expression or a function may read and write, its calls included."""

    reads: frozenset[Place] = frozenset()
    writes: frozenset[Place] = frozenset()

    def __or__(self, other: "Effects") -> "Effects":
        """Return the union of both."""
        return Effects(self.reads | other.reads, self.writes | other.writes)


@dataclass(slots=True)
class Program:
    """Everything that the root class needs; modules come after those that they import."""

    root: Class
    modules: dict[str, Module]
    types: dict[int, Type] = field(default_factory=dict)
    effects: dict[str, Effects] = field(default_factory=dict)
    calls: dict[str, set[str]] = field(default_factory=dict)
    """By the label of a function, the labels of those that it calls; both with constructors."""

    @property
    def classes(self) -> dict[str, Class]:
        """All classes by name; a class comes after those whose objects it owns."""
        found = {kind.name: kind for module in self.modules.values() for kind in module.classes.values()}
        return {one.name: one for kind in found.values() for one in _with_parts(kind, found)}

    @property
    def functions(self) -> dict[str, Function]:
        """All functions and methods by label, in the order of the sources."""
        found: dict[str, Function] = {}
        for module in self.modules.values():
            found.update({one.label: one for one in module.functions.values()})
            for kind in module.classes.values():
                found.update({one.label: one for one in kind.methods.values()})
        return found

    def type_of(self, node: ast.expr) -> Type:
        """Return the type of an expression of a translated function."""
        return self.types[id(node)]

    def constant(self, module: Module, name: str) -> Constant | None:
        """Return the constant that `name` means in `module`, or None."""
        source, real = self._behind(module, name)
        return module.constants.get(name) or source.constants.get(real)

    def function(self, module: Module, name: str) -> Function | None:
        """Return the function that `name` means in `module`, or None."""
        source, real = self._behind(module, name)
        return module.functions.get(name) or source.functions.get(real)

    def class_named(self, module: Module, name: str) -> Class | None:
        """Return the class that `name` means in `module`, or None."""
        source, real = self._behind(module, name)
        return module.classes.get(name) or source.classes.get(real)

    def _behind(self, module: Module, name: str) -> tuple[Module, str]:
        """Return module and name behind an imported name; `module` and `name` for any other."""
        source, real = module.imports.get(name, (module.name, name))
        return self.modules[source], real

    def border(self) -> list[Class]:
        """Return the classes that the root's public methods take and return, and the classes these own."""
        names: list[str] = []
        for method in self.root.methods.values():
            if method.is_constructor or not method.name.startswith("_"):
                names += [
                    one.name for one in (*method.parameters.values(), method.returns) if one.kind == "object"
                ]
        parts = {one.name for name in names for one in _with_parts(self.classes[name], self.classes)}
        return [kind for kind in self.classes.values() if kind.name in parts]

    def reached(self, labels: list[str]) -> list[Function]:
        """Return the functions with `labels` and those that they call, in source order."""
        seen: set[str] = set()
        waiting = list(labels)
        while waiting:
            label = waiting.pop()
            if label not in seen:
                seen.add(label)
                waiting += sorted(self.calls.get(label, ()))
        return [one for label, one in self.functions.items() if label in seen]


def _with_parts(kind: Class, classes: dict[str, Class]) -> Iterator[Class]:
    """Yield the classes whose objects one of `kind` owns, inner ones first, and last `kind`."""
    for part in kind.fields.values():
        if part.type.kind == "object" and part.owned:
            yield from _with_parts(classes[part.type.name], classes)
    yield kind
